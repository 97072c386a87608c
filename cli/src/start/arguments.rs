//! What can be typed behind `inkdwell start`.

use std::path::PathBuf;

use clap::Args;

use crate::probe::listen::arguments::BrokerArguments;

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell start
  inkdwell start --simulated
  inkdwell start --name 'Our shop' --timezone Europe/Vienna --units metric --station belt-dryer \\
      --heat '2.4 m' --set '190 C' --belt '2.6 m/min' --port /dev/ttyUSB0 --names film,cloth \\
      --probe film=ride:C:K --probe cloth=cloth:C:K

Where there is no shop file yet, it asks what it has to know, listens to what is plugged in, writes a shop file with a \
comment at every line, checks it and starts the daemon, which then runs here until Ctrl-C. Where there is one, it \
checks that and starts. Each question can be answered by an option instead; without a terminal, what has no usual \
answer has to be.

Nothing is controlled, and nothing that is there is written over. What could do harm by being guessed (lengths, \
temperatures, speeds, units) is asked; what the trade takes for granted stands in the file with where it comes from.

Exit codes: 0 written, or the daemon ended as told; 1 the daemon could not go on; 2 an answer, the shop file or \
the data folder is wrong.")]
pub(crate) struct StartArguments {
    /// The shop file
    #[arg(
        long,
        value_name = "FILE",
        env = "INKDWELL_SHOP",
        default_value = "shop.toml"
    )]
    pub(crate) shop: PathBuf,
    #[arg(help = "The folder of the journal [default: data, beside the shop file]")]
    #[arg(long, value_name = "DIR", env = "INKDWELL_DATA")]
    pub(crate) data: Option<PathBuf>,
    /// Only write the shop file, or check it; start nothing
    #[arg(long)]
    pub(crate) no_run: bool,
    #[command(flatten)]
    pub(crate) answers: AnswerArguments,
}

/// Answers given beforehand.
#[derive(Debug, Default, Args)]
#[command(next_help_heading = "Answers")]
pub(crate) struct AnswerArguments {
    /// What the shop is called
    #[arg(long, value_name = "NAME")]
    pub(crate) name: Option<String>,
    /// Its time zone, as Europe/Vienna
    #[arg(long, value_name = "ZONE")]
    pub(crate) timezone: Option<String>,
    /// metric or us: the units in which people are shown figures
    #[arg(long, value_name = "UNITS")]
    pub(crate) units: Option<String>,
    /// What heats the prints: belt-dryer or flash-unit
    #[arg(long, value_name = "KIND")]
    pub(crate) station: Option<String>,
    /// The length of the heat, as "2.4 m" or "8 ft"
    #[arg(long, value_name = "LENGTH")]
    pub(crate) heat: Option<String>,
    /// What the heat is set to: "190 C" for air, "panel 420 C" for radiant panels, or both with a comma
    #[arg(long, value_name = "TEMPERATURE")]
    pub(crate) set: Option<String>,
    /// The belt's nominal speed, as "2.6 m/min"
    #[arg(long, value_name = "SPEED")]
    pub(crate) belt: Option<String>,
    /// There is no hardware yet: readings come from the simulated shop
    #[arg(long, conflicts_with_all = ["port", "broker", "modbus"])]
    pub(crate) simulated: bool,
    /// Lines come from this serial port
    #[arg(long, value_name = "PATH")]
    pub(crate) port: Option<PathBuf>,
    #[arg(help = "Its bits a second [default: what is heard, else 9600]")]
    #[arg(long, value_name = "BITS", requires = "port")]
    pub(crate) baud: Option<u32>,
    #[arg(
        help = r#"How its lines are read: "fields ,", "pairs space", json or "pattern REGEX" [default: what is heard]"#
    )]
    #[arg(long, value_name = "FORMAT", requires = "port")]
    pub(crate) format: Option<String>,
    #[arg(
        help = "The names of its fields, in order, with commas between them [default: t1, t2 and so on]"
    )]
    #[arg(long, value_name = "NAMES", requires = "port")]
    pub(crate) names: Option<String>,
    /// Messages come from this MQTT broker, HOST or HOST:PORT
    #[arg(long, value_name = "HOST")]
    pub(crate) broker: Option<String>,
    #[arg(help = "Its topics: a filter [default: #]")]
    #[arg(long, value_name = "FILTER", requires = "broker")]
    pub(crate) topic: Option<String>,
    #[command(flatten)]
    pub(crate) login: BrokerArguments,
    /// Modbus devices over TCP, HOST or HOST:PORT, or on a serial bus, by its port's path
    #[arg(long, value_name = "WHERE", requires = "register")]
    pub(crate) modbus: Option<String>,
    #[arg(
        help = "CHANNEL=DEVICE:TABLE:ADDRESS:FORMAT[:SCALE[:UNIT]], as zone-1=1:input:0:int16:0.1:C; may be repeated"
    )]
    #[arg(long, value_name = "REGISTER", requires = "modbus")]
    pub(crate) register: Vec<String>,
    #[arg(
        help = r#"What a channel measures: CHANNEL=PLACE[:UNIT[:SENSOR]], as film=ride:C:K, exit=exit:C:infrared or "zone-1=zone 1:C:J"; may be repeated"#
    )]
    #[arg(long, value_name = "PROBE")]
    pub(crate) probe: Vec<String>,
    /// A channel that is no temperature: CHANNEL=belt:UNIT, CHANNEL=count or CHANNEL=exhaust; may be repeated
    #[arg(long, value_name = "SIGNAL")]
    pub(crate) signal: Vec<String>,
    /// How far behind the end of the heat an exit probe looks
    #[arg(long, value_name = "LENGTH")]
    pub(crate) exit_distance: Option<String>,
    /// The width of what an exit probe sees there
    #[arg(long, value_name = "LENGTH")]
    pub(crate) exit_spot: Option<String>,
    #[arg(help = "Where the board and programs are answered [default: 127.0.0.1:7878]")]
    #[arg(long, value_name = "ADDRESS")]
    pub(crate) board: Option<String>,
}
