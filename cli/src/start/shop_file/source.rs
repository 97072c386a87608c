//! Sources, as the shop file has them.

use inkdwell_config::shop::{LineFormat, MqttTopic, Port};
use toml::{Table, Value};

use super::{Text, quoted};
use crate::start::plan::{Source, Wire};

/// Puts a source.
pub(super) fn put(text: &mut Text, source: &Source) {
    match &source.wire {
        Wire::Serial {
            port,
            baud,
            format,
            heard,
        } => {
            text.put("\n# A serial port. What it says now: inkdwell probe listen --shop THIS_FILE --source ");
            text.put(&format!("{}\n", source.id));
            for line in heard {
                text.put(&format!("# heard: {line}\n"));
            }
            text.put("[[source]]\n");
            text.key(
                "id",
                &quoted(&source.id),
                "probes below call it by this name",
            );
            text.key("kind", &quoted("serial"), "");
            let mut keys = Table::new();
            put_port(&mut keys, port);
            put_keys(text, &keys);
            text.key(
                "baud",
                &baud.to_string(),
                "data_bits = 8, parity = \"none\", stop_bits = 1, flow = \"none\"",
            );
            let mut keys = Table::new();
            put_format(&mut keys, format);
            put_keys(text, &keys);
        }
        Wire::Mqtt { broker, topics } => {
            text.put("\n# An MQTT broker. Its topics are subscribed to at QoS 1, in a session that it keeps.\n[[source]]\n");
            text.key(
                "id",
                &quoted(&source.id),
                "probes below call it by this name",
            );
            put_keys(text, broker);
            for topic in topics {
                put_topic(text, topic);
            }
        }
        Wire::Modbus(bus) => {
            text.put("\n# Modbus devices, asked in turn.\n[[source]]\n");
            text.key(
                "id",
                &quoted(&source.id),
                "probes below call it by this name",
            );
            let mut keys = bus.clone();
            let registers = keys.remove("register");
            put_keys(text, &keys);
            text.put(
                "# poll = \"0.5 s\"                        # how often each register is read\n",
            );
            text.put("# timeout = \"1 s\"                       # how long an answer may take\n");
            for register in registers
                .as_ref()
                .and_then(Value::as_array)
                .into_iter()
                .flatten()
            {
                text.put("\n[[source.register]]\n");
                if let Some(keys) = register.as_table() {
                    put_keys(text, keys);
                }
            }
        }
        Wire::Simulated => {
            text.put(
                "\n# A shop that never was: prints go through without end, each with its own truth, so that everything can be\n\
                 # tried without hardware. Nothing of it is a measurement.\n[[source]]\n",
            );
            text.key(
                "id",
                &quoted(&source.id),
                "probes below call it by this name",
            );
            text.key("kind", &quoted("simulated"), "");
            text.key("seed", "1", "another number, other prints");
            text.put("# faster = 60                           # so many times as fast as real\n");
        }
    }
}

fn put_keys(text: &mut Text, keys: &Table) {
    // In the order in which people read them: what it is, where, and how.
    const ORDER: [&str; 20] = [
        "kind",
        "host",
        "port",
        "usb",
        "baud",
        "version",
        "tls",
        "tls_roots",
        "user",
        "password_file",
        "channel",
        "unit_id",
        "table",
        "address",
        "format",
        "scale",
        "unit",
        "separator",
        "names",
        "pattern",
    ];
    let known = ORDER.iter().filter_map(|key| keys.get_key_value(*key));
    let other = keys
        .iter()
        .filter(|(key, _)| !ORDER.contains(&key.as_str()));
    for (key, value) in known.chain(other) {
        text.key(key, &value.to_string(), comment(key));
    }
}

fn comment(key: &str) -> &'static str {
    match key {
        "usb" => "the adapter itself, under whatever path it appears",
        "password_file" => "its first line; the password never stands here itself",
        "unit_id" => "the device's number on the bus",
        "address" => "from 0",
        "names" => "its fields in order; an empty name passes one over",
        _ => "",
    }
}

/// The port of a source.
pub(in crate::start) fn put_port(source: &mut Table, port: &Port) {
    match port {
        Port::Path(path) => {
            source.insert(
                "port".to_owned(),
                path.to_string_lossy().into_owned().into(),
            );
        }
        Port::Usb {
            vendor,
            product,
            serial,
        } => {
            let mut usb = Table::new();
            usb.insert("vendor".to_owned(), format!("{vendor:04x}").into());
            usb.insert("product".to_owned(), format!("{product:04x}").into());
            if let Some(serial) = serial {
                usb.insert("serial".to_owned(), serial.clone().into());
            }
            source.insert("usb".to_owned(), usb.into());
        }
    }
}

/// The format of a source's lines.
pub(in crate::start) fn put_format(source: &mut Table, format: &LineFormat) {
    let mut put = |key: &str, value: Value| {
        source.insert(key.to_owned(), value);
    };
    match format {
        LineFormat::Fields { separator, names } => {
            put("format", "fields".into());
            put("separator", separator.clone().into());
            let names = names.iter().map(|name| Value::from(name.as_str()));
            put("names", Value::Array(names.collect()));
        }
        LineFormat::Pairs { separator } => {
            put("format", "pairs".into());
            put("separator", separator.clone().into());
        }
        LineFormat::Json => put("format", "json".into()),
        LineFormat::Pattern(pattern) => {
            put("format", "pattern".into());
            put("pattern", pattern.clone().into());
        }
    }
}

fn put_topic(text: &mut Text, topic: &MqttTopic) {
    text.put("\n[[source.topic]]\n");
    text.key("filter", &quoted(&topic.filter), "");
    text.key("channel", &quoted(&topic.channel), "");
    let pointers = [
        ("value", &topic.value, "where the number stands in the JSON"),
        ("time", &topic.time, "the device's own time"),
        (
            "sequence",
            &topic.sequence,
            "its own count, by which repeated messages are known",
        ),
    ];
    for (key, pointer, comment) in pointers {
        if let Some(pointer) = pointer {
            text.key(key, &quoted(pointer), comment);
        }
    }
}
