//! What can be typed behind `inkdwell probe listen`.

use std::path::PathBuf;

use clap::{ArgGroup, Args};

#[derive(Debug, Args)]
#[command(
    group = ArgGroup::new("wire")
        .required(true)
        .args(["port", "usb", "broker", "modbus", "modbus_port", "source"]),
    after_help = "\
Examples:
  inkdwell probe listen --port /dev/ttyUSB0 --baud 9600
  inkdwell probe listen --port /dev/ttyUSB0 --format fields --names film,cloth,exit
  inkdwell probe listen --broker 127.0.0.1 --topic 'yard/belt-1/+'
  inkdwell probe listen --modbus 192.0.2.10 --register zone-1=1:input:0:int16:0.1
  inkdwell probe listen --shop shop.toml --source probes --for 10

It shows what comes, byte by byte where it is no text, beside what the daemon would take it for, or why it would not. \
Nothing is judged and nothing kept. Without --format, or without --value, what is read is guessed from what comes. \
In a terminal it is a live view; in a pipe, a line for each thing heard; Ctrl-C ends it.

A serial port is heard by one program at a time: while the daemon has it, stop the daemon. A broker and a device on \
the network may be heard beside it.

Exit codes: 0 readings were heard; 1 none were; 2 it cannot be listened to, and why."
)]
pub(crate) struct ListenArguments {
    /// A serial port, by its path
    #[arg(long, value_name = "PATH", help_heading = "Which wire")]
    pub(crate) port: Option<PathBuf>,
    /// A serial port, by its adapter's USB identity: VENDOR:PRODUCT or VENDOR:PRODUCT:SERIAL
    #[arg(long, value_name = "IDENTITY", help_heading = "Which wire")]
    pub(crate) usb: Option<String>,
    /// An MQTT broker, HOST or HOST:PORT
    #[arg(long, value_name = "HOST", help_heading = "Which wire")]
    pub(crate) broker: Option<String>,
    /// Modbus devices over TCP, HOST or HOST:PORT; needs --register
    #[arg(
        long,
        value_name = "HOST",
        requires = "register",
        help_heading = "Which wire"
    )]
    pub(crate) modbus: Option<String>,
    /// Modbus devices on a serial bus, by its port's path; needs --register
    #[arg(
        long,
        value_name = "PATH",
        requires = "register",
        help_heading = "Which wire"
    )]
    pub(crate) modbus_port: Option<PathBuf>,
    /// A source of the shop file, by its id
    #[arg(
        long,
        value_name = "ID",
        requires = "shop",
        help_heading = "Which wire"
    )]
    pub(crate) source: Option<String>,
    /// The shop file with that source
    #[arg(
        long,
        value_name = "FILE",
        env = "INKDWELL_SHOP",
        help_heading = "Which wire"
    )]
    pub(crate) shop: Option<PathBuf>,
    /// End after so many seconds
    #[arg(long = "for", value_name = "SECONDS", value_parser = seconds)]
    pub(crate) seconds: Option<f64>,
    #[command(flatten)]
    pub(crate) line: LineArguments,
    #[command(flatten)]
    pub(crate) messages: MessageArguments,
    #[command(flatten)]
    pub(crate) registers: RegisterArguments,
}

/// A serial line and what comes through it.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Of a serial port")]
pub(crate) struct LineArguments {
    #[arg(help = "Bits a second [default: 9600]")]
    #[arg(long, value_name = "BITS")]
    pub(crate) baud: Option<u32>,
    #[arg(help = "5 to 8 [default: 8]")]
    #[arg(long, value_name = "BITS")]
    pub(crate) data_bits: Option<u8>,
    #[arg(help = "none, even or odd [default: none, for Modbus even]")]
    #[arg(long, value_name = "PARITY")]
    pub(crate) parity: Option<String>,
    #[arg(help = "1 or 2 [default: 1]")]
    #[arg(long, value_name = "BITS")]
    pub(crate) stop_bits: Option<u8>,
    #[arg(help = "none, hardware or software [default: none]")]
    #[arg(long, value_name = "FLOW")]
    pub(crate) flow: Option<String>,
    #[arg(help = "fields, pairs, json or pattern, as in the shop file [default: guessed]")]
    #[arg(long, value_name = "FORMAT")]
    pub(crate) format: Option<String>,
    /// What separates fields or pairs; "tab" and "space" may be written
    #[arg(long, value_name = "TEXT", requires = "format")]
    pub(crate) separator: Option<String>,
    /// The fields' names in order, with commas between them; an empty one is passed over
    #[arg(long, value_name = "NAMES", requires = "format")]
    pub(crate) names: Option<String>,
    /// The pattern, whose named groups are channels
    #[arg(long, value_name = "REGEX", requires = "format")]
    pub(crate) pattern: Option<String>,
}

/// A broker's messages.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Of a broker")]
pub(crate) struct MessageArguments {
    #[arg(help = "FILTER, or FILTER=CHANNEL; may be repeated [default: #]")]
    #[arg(long, value_name = "TOPIC")]
    pub(crate) topic: Vec<String>,
    #[arg(help = "JSON pointer to the value in the payload, as /value [default: guessed]")]
    #[arg(long, value_name = "POINTER")]
    pub(crate) value: Option<String>,
    /// JSON pointer to the device's own time
    #[arg(long, value_name = "POINTER")]
    pub(crate) time: Option<String>,
    /// JSON pointer to the device's own count
    #[arg(long, value_name = "POINTER")]
    pub(crate) sequence: Option<String>,
    #[command(flatten)]
    pub(crate) login: BrokerArguments,
}

/// How a broker lets one in.
#[derive(Debug, Clone, Default, Args)]
pub(crate) struct BrokerArguments {
    /// The user
    #[arg(long, value_name = "NAME")]
    pub(crate) user: Option<String>,
    /// The file whose first line is the password
    #[arg(long, value_name = "FILE", requires = "user")]
    pub(crate) password_file: Option<PathBuf>,
    /// Speak TLS, and trust what this machine trusts
    #[arg(long)]
    pub(crate) tls: bool,
    /// Speak TLS, and trust the certificates of this file (PEM)
    #[arg(long, value_name = "FILE")]
    pub(crate) tls_roots: Option<PathBuf>,
    #[arg(help = "5 or 3.1.1 [default: 5]")]
    #[arg(long, value_name = "VERSION")]
    pub(crate) mqtt_version: Option<String>,
}

/// Modbus registers.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Of Modbus devices")]
pub(crate) struct RegisterArguments {
    #[arg(
        help = "CHANNEL=DEVICE:TABLE:ADDRESS:FORMAT[:SCALE[:UNIT]], as zone-1=1:input:0:int16:0.1:C; may be repeated"
    )]
    #[arg(long, value_name = "REGISTER")]
    pub(crate) register: Vec<String>,
    /// How often each is read, as "1 s"
    #[arg(long, value_name = "TIME")]
    pub(crate) poll: Option<String>,
    /// How long an answer may take, as "1 s"
    #[arg(long, value_name = "TIME")]
    pub(crate) timeout: Option<String>,
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(seconds) if seconds > 0.0 && seconds <= 31_536_000.0 => Ok(seconds),
        _ => Err("write a number of seconds, from above 0 to a year".to_owned()),
    }
}
