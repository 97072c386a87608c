//! The shop file: what was answered, with a comment where somebody may want to know more.

mod channel;
mod source;
#[cfg(test)]
mod tests;

use std::fmt::Write as _;

use inkdwell_config::display::Units;
use toml::Value;

use super::plan::{Plan, Station};

pub(super) use source::{put_format, put_port};

/// Comments begin in this column, where there is room.
const MARGIN: usize = 40;

/// The text of the shop file.
pub(super) fn text(plan: &Plan) -> String {
    let mut text = Text(String::new());
    text.put(
        "# What stands in this shop, and what is heard of it. \"inkdwell check\" says what is wrong in it; the daemon\n\
         # reads it when it starts, and again when it is told to (SIGHUP, or systemctl reload inkdwelld).\n\
         #\n\
         # Inkdwell watches and advises; it is no safety device. The dryer's own limit controls, guards and exhaust\n\
         # interlocks stay in place and working. The ink maker's data sheet, a wash test, local codes and licensed practice\n\
         # come before any figure in here.\n\n[shop]\n",
    );
    text.key("name", &quoted(&plan.name), "");
    text.key(
        "timezone",
        &quoted(&plan.timezone),
        "days of a report begin and end by this clock",
    );
    let units = match plan.units {
        Units::Metric => "metric",
        Units::Us => "us",
    };
    text.key(
        "units",
        &quoted(units),
        "how figures are shown: metric, or us",
    );
    text.put("# libraries = [\"inks.toml\"]             # files of inks and fabrics of your own, beside this one\n");
    for source in &plan.sources {
        source::put(&mut text, source);
    }
    put_station(&mut text, &plan.station);
    for channel in &plan.channels {
        channel::put(&mut text, channel, &plan.station);
    }
    put_rest(&mut text, plan);
    text.0
}

struct Text(String);

impl Text {
    fn put(&mut self, text: &str) {
        self.0.push_str(text);
    }

    fn key(&mut self, key: &str, value: &str, comment: &str) {
        let line = format!("{key} = {value}");
        // Writing into a text cannot fail.
        let _ = match comment {
            "" => writeln!(self.0, "{line}"),
            comment if line.chars().count() < MARGIN => {
                writeln!(self.0, "{line:MARGIN$}# {comment}")
            }
            comment => writeln!(self.0, "{line}  # {comment}"),
        };
    }
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    Value::from(text).to_string()
}

fn put_station(text: &mut Text, station: &Station) {
    text.put(
        "\n# What heats the prints. Another stands in a table of its own below it.\n[[station]]\n",
    );
    text.key("id", &quoted(station.id()), "commands call it by this name");
    text.key("kind", &quoted(station.kind.name()), "");
    text.key(
        "heated_length",
        &quoted(&station.heat),
        "as it was measured",
    );
    if let Some(belt) = &station.belt {
        text.key(
            "belt",
            &quoted(belt),
            "its usual speed, where no signal tells it",
        );
        text.put(
            "# belt_slowest = \"0.8 m/min\"            # what the drive can do: tuning keeps within it\n\
             # belt_fastest = \"6 m/min\"\n\
             # print_pitch = \"0.75 m\"                # from print to print along one lane\n\
             # lanes = 2                             # prints side by side\n",
        );
    }
    let mut zone = vec![format!("length = {}", quoted(&station.heat))];
    zone.extend(
        station
            .air
            .iter()
            .map(|air| format!("air = {}", quoted(air))),
    );
    zone.extend(
        station
            .panel
            .iter()
            .map(|panel| format!("panel = {}", quoted(panel))),
    );
    text.put(&format!("zones = [ {{ {} }} ]\n", zone.join(", ")));
    text.put("# Several zones stand in the order in which a print meets them, together as long as the heat:\n");
    text.put("# zones = [ { length = \"1.2 m\", air = \"190 C\" }, { length = \"1.2 m\", air = \"180 C\", panel = \"420 C\" } ]\n");
}

fn put_rest(text: &mut Text, plan: &Plan) {
    text.put("\n# The board, a page for a browser, and what the commands ask.\n[board]\n");
    let listen = plan.board.as_deref().unwrap_or("127.0.0.1:7878");
    text.key(
        "listen",
        &quoted(listen),
        "anything but loopback needs certificate and key",
    );
    text.put(
        "\n# When alarms come. Every key and its default: inkdwell alarms explain NAME.\n\
         # [alarms]\n\
         # chamber_limit = \"230 C\"\n\
         # shelve_longest = \"8 h\"\n\
         \n# Where verdicts and alarms go besides: an MQTT broker, a time series server, a web address, a program.\n\
         # [[sink]]\n\
         # id = \"office\"\n\
         # kind = \"mqtt\"\n\
         # host = \"127.0.0.1\"\n",
    );
}
