//! Any bytes from a serial line, in any format and any chunking, are the same readings, and what is held of
//! them stays bounded.

#![no_main]

use inkdwell_config::shop::LineFormat;
use inkdwell_daemon::intake::Value;
use inkdwell_daemon::source::lines::{Heard, LONGEST, LineParser, LineReader, Meaning};
use libfuzzer_sys::fuzz_target;

/// What was heard, in short: numbers by their bits, so that not a number equals itself.
#[derive(Debug, PartialEq)]
enum Short {
    TooLong,
    Blank,
    Garbled,
    Said(Vec<(String, Result<u64, String>)>),
}

fn format(choice: u8) -> LineFormat {
    let separator = [",", ";", " ", "\t", " | ", "="][usize::from(choice / 4) % 6].to_owned();
    match choice % 4 {
        0 => LineFormat::Fields {
            separator,
            names: ["film", "", "exit"].map(str::to_owned).to_vec(),
        },
        1 => LineFormat::Pairs { separator },
        2 => LineFormat::Json,
        _ => LineFormat::Pattern("(?<film>[^,]*),(?<exit>.*)".to_owned()),
    }
}

fn short(heard: Heard<'_>, parser: &mut LineParser) -> Short {
    let line = match heard {
        Heard::TooLong => return Short::TooLong,
        Heard::Line(line) => line,
    };
    assert!(!line.is_empty() && line.len() <= LONGEST);
    match parser.read(line) {
        Meaning::Blank => Short::Blank,
        Meaning::Garbled(_) => Short::Garbled,
        Meaning::Said(said) => {
            let each = said.iter().map(|said| {
                let value = match &said.value {
                    Value::Number(number) => {
                        assert!(number.is_finite());
                        Ok(number.to_bits())
                    }
                    Value::NoNumber(word) => Err(word.to_string()),
                };
                (said.channel.to_string(), value)
            });
            let each: Vec<_> = each.collect();
            for (at, (channel, _)) in each.iter().enumerate() {
                assert!(each[..at].iter().all(|(other, _)| other != channel));
            }
            Short::Said(each)
        }
    }
}

fn read(format: &LineFormat, bytes: &[u8], size: usize) -> Vec<Short> {
    let (mut reader, mut all) = (LineReader::new(), Vec::new());
    let mut parser = LineParser::new(format).expect("each format here is sound");
    for piece in bytes.chunks(size) {
        reader.feed(piece, &mut |heard| all.push(short(heard, &mut parser)));
    }
    all
}

fuzz_target!(|input: &[u8]| {
    let [choice, size, bytes @ ..] = input else {
        return;
    };
    let format = format(*choice);
    let whole = read(&format, bytes, usize::MAX);
    assert_eq!(whole, read(&format, bytes, usize::from(*size).max(1)));
    assert_eq!(whole, read(&format, bytes, 1));
});
