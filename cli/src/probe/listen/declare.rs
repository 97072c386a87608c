//! What was typed becomes a `[[source]]`, which is read by the shop file's own rules.

use inkdwell_config::shop::{Shop, SourceKind};
use toml::{Table, Value};

use super::arguments::{
    BrokerArguments, LineArguments, ListenArguments, MessageArguments, RegisterArguments,
};
use crate::failure::Failure;

/// Under this name problems are reported.
const CALL: &str = "call";

/// What is listened to, with what is to be guessed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Declared {
    pub(crate) kind: SourceKind,
    /// Whether it is said how lines, or payloads, are read.
    pub(crate) is_read: bool,
}

/// What the options mean.
pub(crate) fn declared(typed: &ListenArguments) -> Result<Declared, Failure> {
    let mut source = Table::new();
    let mut is_read = true;
    if let Some(path) = &typed.port {
        put(&mut source, "port", path.to_string_lossy());
        is_read = line(&mut source, &typed.line)?;
    } else if let Some(identity) = &typed.usb {
        source.insert("usb".to_owned(), Value::Table(usb(identity)?));
        is_read = line(&mut source, &typed.line)?;
    } else if let Some(host) = &typed.broker {
        is_read = broker(&mut source, host, &typed.messages)?;
    } else if let Some(path) = &typed.modbus_port {
        put(&mut source, "kind", "modbus-rtu");
        put(&mut source, "port", path.to_string_lossy());
        serial(&mut source, &typed.line);
        registers(&mut source, &typed.registers)?;
    } else if let Some(host) = &typed.modbus {
        put(&mut source, "kind", "modbus-tcp");
        place(&mut source, "--modbus", host)?;
        registers(&mut source, &typed.registers)?;
    }
    Ok(Declared {
        kind: read(source)?,
        is_read,
    })
}

/// A source of these keys, as a shop file has it. Problems name the option instead of the key.
///
/// # Errors
/// Everything that is wrong in it.
pub(crate) fn read(mut source: Table) -> Result<SourceKind, Failure> {
    put(&mut source, "id", "heard");
    let mut top = Table::new();
    top.insert(
        "source".to_owned(),
        Value::Array(vec![Value::Table(source)]),
    );
    let text = toml::to_string(&top)
        .map_err(|error| Failure::new(format!("the call cannot be read ({error})")))?;
    let checked = Shop::parse(CALL, &text);
    if !checked.problems.is_empty() {
        let mut problems = checked.problems;
        for problem in &mut problems {
            let key = problem.key.trim_start_matches("source[0]");
            problem.key = option(key.trim_start_matches('.'));
            problem.line = None;
        }
        let lines = problems.iter().map(|problem| {
            let (key, what, remedy) = (&problem.key, &problem.what, &problem.remedy);
            format!("{key}: {what}; {remedy}")
        });
        return Err(Failure::new(lines.collect::<Vec<_>>().join("\n")));
    }
    let first = checked.value.sources.into_iter().next();
    first
        .map(|source| source.kind)
        .ok_or_else(|| Failure::new("nothing is named to listen to; see --help"))
}

/// The option of a key: `register[0].address` is said in --register.
fn option(key: &str) -> String {
    let first = key.split(['.', '[']).next().unwrap_or(key);
    let own = key.rsplit('.').next().unwrap_or(key);
    match first {
        "" => "the call".to_owned(),
        "host" => "the host".to_owned(),
        "version" => "--mqtt-version".to_owned(),
        "topic" if matches!(own, "value" | "time" | "sequence") => format!("--{own}"),
        first => format!("--{}", first.replace('_', "-")),
    }
}

fn put(table: &mut Table, key: &str, text: impl Into<String>) {
    table.insert(key.to_owned(), Value::String(text.into()));
}

fn put_some(table: &mut Table, key: &str, text: Option<&String>) {
    if let Some(text) = text {
        put(table, key, text.clone());
    }
}

fn put_whole(table: &mut Table, key: &str, number: Option<u32>) {
    if let Some(number) = number {
        table.insert(key.to_owned(), Value::Integer(number.into()));
    }
}

/// `0403:6001` or `0403:6001:A9`.
pub(crate) fn usb(identity: &str) -> Result<Table, Failure> {
    let mut parts = identity.splitn(3, ':');
    let (Some(vendor), Some(product)) = (parts.next(), parts.next()) else {
        return Err(Failure::new(format!(
            "--usb: {identity:?} is no USB identity; write VENDOR:PRODUCT, as 0403:6001, or with the serial number \
             behind it"
        )));
    };
    let mut usb = Table::new();
    put(&mut usb, "vendor", vendor);
    put(&mut usb, "product", product);
    if let Some(serial) = parts.next() {
        put(&mut usb, "serial", serial);
    }
    Ok(usb)
}

fn serial(source: &mut Table, typed: &LineArguments) {
    put_whole(source, "baud", typed.baud);
    put_whole(source, "data_bits", typed.data_bits.map(u32::from));
    put_some(source, "parity", typed.parity.as_ref());
    put_whole(source, "stop_bits", typed.stop_bits.map(u32::from));
    put_some(source, "flow", typed.flow.as_ref());
}

/// Says whether a format was named.
fn line(source: &mut Table, typed: &LineArguments) -> Result<bool, Failure> {
    put(source, "kind", "serial");
    serial(source, typed);
    let Some(format) = &typed.format else {
        // It is not looked at, but a source has to have one.
        put(source, "format", "json");
        return Ok(false);
    };
    put(source, "format", format.clone());
    if let Some(separator) = &typed.separator {
        put(source, "separator", named_separator(separator));
    }
    put_some(source, "pattern", typed.pattern.as_ref());
    if let Some(names) = &typed.names {
        let names = names
            .split(',')
            .map(|name| Value::String(name.trim().to_owned()));
        source.insert("names".to_owned(), Value::Array(names.collect()));
    } else if format == "fields" {
        return Err(Failure::new(
            "--names: is missing beside --format fields; name the fields in order, as --names film,cloth,exit",
        ));
    }
    Ok(true)
}

/// A separator that may be written in a word.
pub(crate) fn named_separator(text: &str) -> &str {
    match text {
        "tab" | "\\t" => "\t",
        "space" => " ",
        "comma" => ",",
        "semicolon" => ";",
        text => text,
    }
}

/// HOST or HOST:PORT; an IPv6 address with a port stands in brackets.
pub(crate) fn place(source: &mut Table, option: &str, text: &str) -> Result<(), Failure> {
    let (host, port) = match text.strip_prefix('[') {
        Some(rest) => match rest.split_once(']') {
            Some((host, port)) => (host, port.strip_prefix(':')),
            None => (text, None),
        },
        None => match text.rsplit_once(':') {
            Some((host, port)) if !host.contains(':') => (host, Some(port)),
            _ => (text, None),
        },
    };
    put(source, "host", host);
    if let Some(port) = port {
        let number: u16 = port.parse().map_err(|_| {
            Failure::new(format!(
                "{option}: {port:?} is no port; write HOST or HOST:PORT, as 127.0.0.1:1883"
            ))
        })?;
        put_whole(source, "port", Some(number.into()));
    }
    Ok(())
}

/// How a broker lets one in.
pub(crate) fn login(source: &mut Table, typed: &BrokerArguments) {
    put_some(source, "user", typed.user.as_ref());
    let file = |path: &std::path::PathBuf| path.to_string_lossy().into_owned();
    put_some(
        source,
        "password_file",
        typed.password_file.as_ref().map(file).as_ref(),
    );
    put_some(
        source,
        "tls_roots",
        typed.tls_roots.as_ref().map(file).as_ref(),
    );
    if typed.tls {
        source.insert("tls".to_owned(), Value::Boolean(true));
    }
    put_some(source, "version", typed.mqtt_version.as_ref());
}

/// Says whether it was named how payloads are read.
fn broker(source: &mut Table, host: &str, typed: &MessageArguments) -> Result<bool, Failure> {
    put(source, "kind", "mqtt");
    place(source, "--broker", host)?;
    login(source, &typed.login);
    let named = typed.value.is_some() || typed.topic.iter().any(|topic| topic.contains('='));
    let every = ["#".to_owned()];
    let topics = match typed.topic.is_empty() {
        true => &every[..],
        false => &typed.topic,
    };
    let topics = topics.iter().map(|text| {
        let (filter, channel) = match text.split_once('=') {
            Some((filter, channel)) => (filter, channel.to_owned()),
            None => (text.as_str(), usual_channel(text)),
        };
        let mut topic = Table::new();
        put(&mut topic, "filter", filter);
        put(&mut topic, "channel", channel);
        put_some(&mut topic, "value", typed.value.as_ref());
        put_some(&mut topic, "time", typed.time.as_ref());
        put_some(&mut topic, "sequence", typed.sequence.as_ref());
        Value::Table(topic)
    });
    source.insert("topic".to_owned(), Value::Array(topics.collect()));
    Ok(named)
}

/// What the last + of a filter meets, else its last level.
pub(crate) fn usual_channel(filter: &str) -> String {
    match filter.split('/').filter(|level| *level == "+").count() {
        0 => filter.rsplit('/').next().unwrap_or(filter).to_owned(),
        last => format!("{{{last}}}"),
    }
}

fn registers(source: &mut Table, typed: &RegisterArguments) -> Result<(), Failure> {
    put_some(source, "poll", typed.poll.as_ref());
    put_some(source, "timeout", typed.timeout.as_ref());
    let all = typed
        .register
        .iter()
        .map(|text| register(text).map(Value::Table));
    let all = all.collect::<Result<Vec<Value>, Failure>>()?;
    source.insert("register".to_owned(), Value::Array(all));
    Ok(())
}

/// `zone-1=1:input:0:int16:0.1:C`.
pub(crate) fn register(text: &str) -> Result<Table, Failure> {
    let wrong = |what: &str| {
        Failure::new(format!(
            "--register: {text:?}: {what}; write CHANNEL=DEVICE:TABLE:ADDRESS:FORMAT[:SCALE[:UNIT]], as \
             zone-1=1:input:0:int16:0.1:C"
        ))
    };
    let (channel, rest) = text
        .split_once('=')
        .ok_or_else(|| wrong("it names no channel"))?;
    let parts: Vec<&str> = rest.split(':').map(str::trim).collect();
    let (4..=6, [device, table, address, format, rest @ ..]) = (parts.len(), parts.as_slice())
    else {
        return Err(wrong("it has not four to six parts"));
    };
    let whole = |name: &str, text: &str| {
        let number: Result<i64, _> = text.parse();
        number.map_err(|_| wrong(&format!("{text:?} is no {name}")))
    };
    let mut register = Table::new();
    put(&mut register, "channel", channel.trim());
    let device = whole("device number", device)?;
    register.insert("unit_id".to_owned(), Value::Integer(device));
    put(&mut register, "table", *table);
    let address = whole("address", address)?;
    register.insert("address".to_owned(), Value::Integer(address));
    put(&mut register, "format", *format);
    if let Some(scale) = rest.first() {
        let scale: f64 = scale
            .parse()
            .map_err(|_| wrong(&format!("{scale:?} is no scale")))?;
        register.insert("scale".to_owned(), Value::Float(scale));
    }
    if let Some(unit) = rest.get(1) {
        put(&mut register, "unit", *unit);
    }
    Ok(register)
}
