//! Modbus devices: their bus, and the registers that are read.

use inkdwell_config::shop::SourceKind;
use toml::Table;

use super::{Found, channel_name};
use crate::probe::listen::declare::{self, place, register};
use crate::start::checks;
use crate::start::hear::Where;
use crate::start::plan::Wire;
use crate::start::questions::{of_source, port_of};
use crate::start::shop_file::put_port;
use crate::start::state::{Question, State, Step};

/// How devices are reached and read, and their channels.
pub(super) fn wire(
    state: &State,
    number: usize,
    place_of: &str,
) -> Result<(Wire, Vec<Found>), Step> {
    let mut bus = Table::new();
    if place_of.starts_with('/') {
        bus.insert("kind".to_owned(), "modbus-rtu".into());
        put_port(&mut bus, &port_of(state, place_of));
        let baud = state.answer(Question {
            usual: Some("9600".to_owned()),
            example: "9600".to_owned(),
            quiet: Some("9600".to_owned()),
            check: Box::new(checks::baud),
            ..of_source(
                number,
                "baud",
                "--baud BITS",
                "bits a second",
                "How many bits a second does the bus run at?",
                "All devices on it have to agree; their manuals say it. Parity is even, as the specification of Modbus over \
                 serial lines asks; another stands as parity in the shop file.",
            )
        })?;
        bus.insert(
            "baud".to_owned(),
            toml::Value::Integer(baud.parse().unwrap_or(9600)),
        );
    } else {
        bus.insert("kind".to_owned(), "modbus-tcp".into());
        // It was checked when it was answered.
        let _ = place(&mut bus, "modbus", place_of);
    }
    let mut registers: Vec<toml::Value> = Vec::new();
    for which in 0.. {
        let typed = state.answer(one_register(number, which))?;
        if typed == DONE {
            break;
        }
        registers.extend(register(&typed).ok().map(toml::Value::Table));
    }
    bus.insert("register".to_owned(), toml::Value::Array(registers));
    let Some(heard) = state.findings.devices(&bus) else {
        return Err(Step::Hear(Where::Devices(bus)));
    };
    let kind = declare::read(bus.clone()).ok();
    let registers = match kind {
        Some(SourceKind::Modbus(modbus)) => modbus.registers,
        _ => Vec::new(),
    };
    let found = registers.into_iter().map(|register| Found {
        last: heard.readings.get(&register.channel).cloned(),
        name: register.channel,
        says_unit: true,
    });
    Ok((Wire::Modbus(bus), found.collect()))
}

/// What answers "and another register?".
pub(in crate::start) const DONE: &str = "all";

fn one_register(number: usize, which: usize) -> Question {
    let (asks, usual) = match which {
        0 => (
            "Which register is to be read? (as: zone-1=1:input:0:int16:0.1:C)",
            None,
        ),
        _ => ("And which other?", Some(DONE.to_owned())),
    };
    Question {
        quiet: usual.clone(),
        usual,
        example: "zone-1=1:input:0:int16:0.1:C".to_owned(),
        check: Box::new(move |text| {
            if text == DONE && which > 0 {
                return Ok(text.to_owned());
            }
            let table = register(text).map_err(|failure| failure.to_string())?;
            if let Some(channel) = table.get("channel").and_then(toml::Value::as_str) {
                channel_name(channel)?;
            }
            let mut source = Table::new();
            source.insert("kind".to_owned(), "modbus-tcp".into());
            source.insert("host".to_owned(), "127.0.0.1".into());
            source.insert(
                "register".to_owned(),
                toml::Value::Array(vec![table.into()]),
            );
            let read = declare::read(source);
            read.map(|_| text.to_owned())
                .map_err(|failure| failure.to_string())
        }),
        ..of_source(
            number,
            &format!("register.{which}"),
            "--register REGISTER",
            "register",
            asks,
            "NAME=DEVICE:TABLE:ADDRESS:FORMAT:SCALE:UNIT. The controller's manual has a list: the device's number on the bus, the \
             table (input or holding), the register's address from 0 (a list that begins at 30001 or 40001 counts from 1: take \
             one off the last four digits), its format (int16, uint16, int32, uint32, float32), by what to multiply (0.1 where \
             1902 means 190.2), and C or F where it is a temperature.",
        )
    }
}
