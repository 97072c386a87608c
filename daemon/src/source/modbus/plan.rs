//! Which registers are asked for together.

use std::sync::Arc;

use inkdwell_config::shop::{Register, RegisterTable};

use super::number::Form;
use crate::intake::{Said, Value};

/// So many registers can be asked for at once: MODBUS Application Protocol V1.1b3, sections 6.3 and 6.4.
const MOST: u16 = 125;

/// Registers of one device that are asked for at once.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Block {
    pub(super) table: RegisterTable,
    pub(super) address: u16,
    pub(super) count: u16,
    points: Vec<Point>,
}

/// One number in a block.
#[derive(Debug, Clone, PartialEq)]
struct Point {
    /// How many registers stand before it.
    at: u16,
    registers: u16,
    channel: Arc<str>,
    form: Form,
}

impl Block {
    fn of(register: &Register) -> Block {
        let registers = register.format.registers();
        let point = Point {
            at: 0,
            registers,
            channel: Arc::from(register.channel.as_str()),
            form: Form::of(register),
        };
        Block {
            table: register.table,
            address: register.address,
            count: registers,
            points: vec![point],
        }
    }

    /// Takes another block in if no gap lies between and both together can be asked for; else gives it back.
    fn take_in(&mut self, next: Block) -> Option<Block> {
        let begins = next.address.checked_sub(self.address);
        let together = begins.map(|begins| (begins, self.count.max(begins + next.count)));
        match together {
            Some((begins, count))
                if next.table == self.table && begins <= self.count && count <= MOST =>
            {
                self.count = count;
                let moved = next.points.into_iter().map(|point| Point {
                    at: point.at + begins,
                    ..point
                });
                self.points.extend(moved);
                None
            }
            _ => Some(next),
        }
    }

    /// Each of its numbers by itself; empty if it has but one.
    pub(super) fn apart(&self) -> Vec<Block> {
        if self.points.len() < 2 {
            return Vec::new();
        }
        let each = self.points.iter().map(|point| Block {
            table: self.table,
            address: self.address + point.at,
            count: point.registers,
            points: vec![Point {
                at: 0,
                ..point.clone()
            }],
        });
        each.collect()
    }

    /// What its registers say.
    pub(super) fn said(&self, words: &[u16]) -> Vec<Said> {
        let each = self.points.iter().map(|point| {
            let (begin, end) = (point.at, point.at + point.registers);
            let words = words.get(usize::from(begin)..usize::from(end));
            Said {
                channel: Arc::clone(&point.channel),
                value: words.map_or_else(
                    || Value::NoNumber("too few registers".into()),
                    |words| point.form.value(words),
                ),
                device_time: None,
                sequence: None,
            }
        });
        each.collect()
    }

    /// What it is called in a sentence.
    pub(super) fn named(&self) -> String {
        let table = match self.table {
            RegisterTable::Input => "input",
            RegisterTable::Holding => "holding",
        };
        match self.count {
            1 => format!("{table} register {}", self.address),
            count => format!(
                "{table} registers {} to {}",
                self.address,
                u32::from(self.address) + u32::from(count) - 1
            ),
        }
    }
}

/// The blocks of each device, devices by their unit id.
pub(super) fn plan(registers: &[Register]) -> Vec<(u8, Vec<Block>)> {
    let mut sorted: Vec<&Register> = registers.iter().collect();
    let holding = |register: &Register| register.table == RegisterTable::Holding;
    sorted.sort_by_key(|register| (register.unit_id, holding(register), register.address));
    let mut devices: Vec<(u8, Vec<Block>)> = Vec::new();
    for register in sorted {
        let block = Block::of(register);
        match devices.last_mut() {
            Some((unit_id, blocks)) if *unit_id == register.unit_id => {
                let rest = match blocks.last_mut() {
                    Some(last) => last.take_in(block),
                    None => Some(block),
                };
                blocks.extend(rest);
            }
            _ => devices.push((register.unit_id, vec![block])),
        }
    }
    devices
}

#[cfg(test)]
mod tests {
    use inkdwell_config::shop::RegisterFormat;

    use super::*;

    fn register(
        channel: &str,
        unit_id: u8,
        table: RegisterTable,
        address: u16,
        format: RegisterFormat,
    ) -> Register {
        Register {
            channel: channel.to_owned(),
            unit_id,
            table,
            address,
            format,
            low_word_first: false,
            scale: 1.0,
            offset: 0.0,
            fahrenheit: false,
        }
    }

    #[test]
    fn neighbours_are_asked_for_together_and_gaps_are_not() {
        use RegisterFormat::{Int16, Uint32};
        use RegisterTable::{Holding, Input};
        let registers = [
            register("f", 2, Input, 0, Int16),
            register("c", 1, Input, 12, Int16),
            register("a", 1, Input, 10, Uint32),
            // The same registers, read another way.
            register("b", 1, Input, 11, Int16),
            register("d", 1, Input, 14, Int16),
            register("e", 1, Holding, 15, Int16),
        ];
        let plan = plan(&registers);
        let named: Vec<(u8, Vec<String>)> = plan
            .iter()
            .map(|(unit, blocks)| (*unit, blocks.iter().map(Block::named).collect()))
            .collect();
        let texts = |texts: &[&str]| texts.iter().map(|text| (*text).to_owned()).collect();
        assert_eq!(
            named,
            [
                (
                    1,
                    texts(&[
                        "input registers 10 to 12",
                        "input register 14",
                        "holding register 15"
                    ])
                ),
                (2, texts(&["input register 0"])),
            ]
        );
        let said = plan[0].1[0].said(&[1, 2, 3]);
        let said: Vec<(&str, &Value)> = said
            .iter()
            .map(|said| (&*said.channel, &said.value))
            .collect();
        let number = Value::Number;
        assert_eq!(
            said,
            [
                ("a", &number(65_538.0)),
                ("b", &number(2.0)),
                ("c", &number(3.0))
            ]
        );
        let apart: Vec<String> = plan[0].1[0].apart().iter().map(Block::named).collect();
        assert_eq!(
            apart,
            [
                "input registers 10 to 11",
                "input register 11",
                "input register 12"
            ]
        );
        assert_eq!(plan[1].1[0].apart(), []);
    }

    #[test]
    fn not_more_is_asked_for_than_an_answer_holds() {
        let registers: Vec<Register> = (0..130)
            .map(|number| {
                let channel = format!("c{number}");
                register(
                    &channel,
                    1,
                    RegisterTable::Input,
                    65_276 + 2 * number,
                    RegisterFormat::Int32,
                )
            })
            .collect();
        let blocks = &plan(&registers)[0].1;
        let counts: Vec<u16> = blocks.iter().map(|block| block.count).collect();
        assert_eq!(counts, [124, 124, 12]);
        assert_eq!(blocks[2].named(), "input registers 65524 to 65535");
    }
}
