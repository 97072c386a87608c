//! Registers become numbers: `(raw * scale + offset)`, and from °F to °C where they are declared so.

use inkdwell_config::shop::{Register, RegisterFormat};

use crate::intake::Value;

/// How a number stands in its registers.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Form {
    format: RegisterFormat,
    low_word_first: bool,
    scale: f64,
    offset: f64,
    /// `scale` and `offset` as they are written in the shop file.
    written: Option<(Decimal, Decimal)>,
    fahrenheit: bool,
}

/// `digits * 10^exponent`, exactly.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Decimal {
    digits: i128,
    exponent: i32,
}

impl Form {
    pub(super) fn of(register: &Register) -> Form {
        let scale = Decimal::written(register.scale);
        Form {
            format: register.format,
            low_word_first: register.low_word_first,
            scale: register.scale,
            offset: register.offset,
            written: scale.zip(Decimal::written(register.offset)),
            fahrenheit: register.fahrenheit,
        }
    }

    /// The value of as many words as the format has; of fewer, no number.
    ///
    /// Whole numbers are reckoned in decimal, with scale and offset as they are written: 1682 at a scale of
    /// 0.1 is the number nearest to 168.2.
    pub(super) fn value(&self, words: &[u16]) -> Value {
        let Some(number) = self.number(words) else {
            return Value::NoNumber("too few registers".into());
        };
        let number = match self.fahrenheit {
            true => (number - 32.0) / 1.8,
            false => number,
        };
        match number.is_finite() {
            true => Value::Number(number),
            false => Value::NoNumber(number.to_string().into()),
        }
    }

    fn number(&self, words: &[u16]) -> Option<f64> {
        let long = || {
            let (first, second) = (u32::from(*words.first()?), u32::from(*words.get(1)?));
            Some(match self.low_word_first {
                true => second << 16 | first,
                false => first << 16 | second,
            })
        };
        let whole = match self.format {
            RegisterFormat::Int16 => i64::from(words.first()?.cast_signed()),
            RegisterFormat::Uint16 => i64::from(*words.first()?),
            RegisterFormat::Int32 => i64::from(long()?.cast_signed()),
            RegisterFormat::Uint32 => i64::from(long()?),
            RegisterFormat::Float32 => {
                let number = f64::from(f32::from_bits(long()?));
                return Some(number.mul_add(self.scale, self.offset));
            }
        };
        let exact = self.written.and_then(|(scale, offset)| {
            let scaled = Decimal {
                digits: scale.digits.checked_mul(i128::from(whole))?,
                exponent: scale.exponent,
            };
            scaled.plus(offset)?.nearest()
        });
        Some(exact.unwrap_or_else(|| (whole as f64).mul_add(self.scale, self.offset)))
    }
}

impl Decimal {
    /// The shortest decimal that is read as this number: what a person wrote, unless it had more than
    /// seventeen digits.
    fn written(number: f64) -> Option<Decimal> {
        let text = format!("{number:e}");
        let (digits, exponent) = text.split_once('e')?;
        let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len());
        Some(Decimal {
            digits: digits.replacen('.', "", 1).parse().ok()?,
            exponent: exponent.parse::<i32>().ok()? - i32::try_from(decimals).ok()?,
        })
    }

    /// The sum; `None` where it has too many digits.
    fn plus(self, other: Decimal) -> Option<Decimal> {
        let exponent = self.exponent.min(other.exponent);
        let aligned = |number: Decimal| {
            if number.digits == 0 {
                return Some(0);
            }
            let shift = u32::try_from(number.exponent - exponent).ok()?;
            number.digits.checked_mul(10_i128.checked_pow(shift)?)
        };
        Some(Decimal {
            digits: aligned(self)?.checked_add(aligned(other)?)?,
            exponent,
        })
    }

    /// The nearest number.
    fn nearest(self) -> Option<f64> {
        format!("{}e{}", self.digits, self.exponent).parse().ok()
    }
}

#[cfg(test)]
mod tests {
    use inkdwell_config::shop::RegisterTable;
    use proptest::prelude::*;

    use super::*;

    fn register(format: RegisterFormat, scale: f64, offset: f64) -> Register {
        Register {
            channel: "zone".to_owned(),
            unit_id: 1,
            table: RegisterTable::Input,
            address: 0,
            format,
            low_word_first: false,
            scale,
            offset,
            fahrenheit: false,
        }
    }

    fn value(register: &Register, words: &[u16]) -> f64 {
        match Form::of(register).value(words) {
            Value::Number(number) => number,
            Value::NoNumber(word) => panic!("{word}"),
        }
    }

    /// Two's complement and big-endian words: MODBUS Application Protocol V1.1b3, section 4.2. IEEE 754:
    /// 123456.0 is 47F12000 in hexadecimal.
    #[test]
    fn formats_and_word_orders_are_told_apart() {
        use RegisterFormat::{Float32, Int16, Int32, Uint16, Uint32};
        for (format, words, expected) in [
            (Int16, &[0xff9c][..], -100.0),
            (Uint16, &[0xff9c], 65_436.0),
            (Int32, &[0xffff, 0xff9c], -100.0),
            (Uint32, &[0xffff, 0xff9c], 4_294_967_196.0),
            (Uint32, &[0x0001, 0x0000], 65_536.0),
            (Float32, &[0x47f1, 0x2000], 123_456.0),
        ] {
            let mut register = register(format, 1.0, 0.0);
            assert_eq!(value(&register, words), expected, "{format:?}");
            register.low_word_first = true;
            let turned: Vec<u16> = words.iter().rev().copied().collect();
            assert_eq!(value(&register, &turned), expected, "{format:?}");
        }
        let short = Form::of(&register(Int32, 1.0, 0.0)).value(&[1]);
        assert!(matches!(short, Value::NoNumber(_)));
    }

    #[test]
    fn scaled_numbers_are_the_nearest_to_what_is_meant() {
        for (raw, scale, offset, expected) in [
            (1682, 0.1, 0.0, 168.2),
            (3, 0.1, 0.0, 0.3),
            (-5, 0.1, 0.0, -0.5),
            (2315, 0.1, -50.0, 181.5),
            (2315, 0.1, -0.3, 231.2),
            (7, 0.01, 1e-3, 0.071),
            (16_820, 1e-2, 0.0, 168.2),
            (0, 0.1, 0.0, 0.0),
            (100, 1e300, 0.0, 1e302),
            (1, 1e-300, 1e300, 1e300),
        ] {
            let register = register(RegisterFormat::Int16, scale, offset);
            let word = (raw as i16).cast_unsigned();
            assert_eq!(
                value(&register, &[word]).to_bits(),
                f64::to_bits(expected),
                "{raw} {scale} {offset}"
            );
        }
    }

    /// The boiling point of water, 212 °F, is 100 °C by the definition of the scale.
    #[test]
    fn fahrenheit_becomes_celsius() {
        let mut fahrenheit = register(RegisterFormat::Int16, 0.1, 0.0);
        fahrenheit.fahrenheit = true;
        assert_eq!(value(&fahrenheit, &[2120]), 100.0);
        assert_eq!(value(&fahrenheit, &[320]), 0.0);
        assert_eq!(value(&fahrenheit, &[(-400_i16).cast_unsigned()]), -40.0);
    }

    /// IEEE 754: an exponent of all ones is infinite, or no number if anything follows.
    #[test]
    fn what_a_float_says_is_no_number_is_none() {
        let float = Form::of(&register(RegisterFormat::Float32, 1.0, 0.0));
        assert_eq!(float.value(&[0x7fc0, 0]), Value::NoNumber("NaN".into()));
        assert_eq!(float.value(&[0x7f80, 0]), Value::NoNumber("inf".into()));
        assert_eq!(float.value(&[0xff80, 0]), Value::NoNumber("-inf".into()));
    }

    proptest! {
        /// A scale of one decimal is a decimal point one place further left.
        #[test]
        fn a_tenth_moves_the_point(raw: i32) {
            let words = [(raw.cast_unsigned() >> 16) as u16, raw.cast_unsigned() as u16];
            let tenth = value(&register(RegisterFormat::Int32, 0.1, 0.0), &words);
            let (sign, size) = (if raw < 0 { "-" } else { "" }, i64::from(raw).abs());
            let expected: f64 = format!("{sign}{}.{}", size / 10, size % 10).parse().unwrap();
            prop_assert_eq!(tenth, expected);
        }

        #[test]
        fn no_registers_make_it_panic(words: Vec<u16>, scale: f64, offset: f64, low: bool) {
            use RegisterFormat::{Float32, Int16, Int32, Uint16, Uint32};
            for format in [Int16, Uint16, Int32, Uint32, Float32] {
                let mut register = register(format, scale, offset);
                (register.low_word_first, register.fahrenheit) = (low, low);
                if let Value::Number(number) = Form::of(&register).value(&words) {
                    prop_assert!(number.is_finite());
                }
            }
        }
    }
}
