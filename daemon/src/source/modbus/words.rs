//! What devices refuse, in sentences.

use tokio_modbus::ExceptionCode;

/// What an exception code means, and what to do: MODBUS Application Protocol V1.1b3, section 7.
pub(super) fn of_exception(code: ExceptionCode) -> String {
    let sentence = match code {
        ExceptionCode::IllegalFunction => {
            "it does not know that table (exception 1, illegal function); correct table in the shop file"
        }
        ExceptionCode::IllegalDataAddress => {
            "it has no such registers (exception 2, illegal data address); correct address and format in the shop file"
        }
        ExceptionCode::IllegalDataValue => {
            "it does not take such a request (exception 3, illegal data value); correct address and format in the shop file"
        }
        ExceptionCode::ServerDeviceFailure => {
            "it has failed (exception 4, device failure); see its display and its manual"
        }
        ExceptionCode::Acknowledge => {
            "it is still at work on an earlier request (exception 5, acknowledge); give it time, or raise poll in the shop file"
        }
        ExceptionCode::ServerDeviceBusy => {
            "it is busy (exception 6, device busy); raise poll in the shop file if it stays so"
        }
        ExceptionCode::MemoryParityError => {
            "its memory is damaged (exception 8, memory parity error); see its manual"
        }
        ExceptionCode::GatewayPathUnavailable => {
            "the gateway has no way to it (exception 10, gateway path unavailable); see the gateway's settings"
        }
        ExceptionCode::GatewayTargetDevice => {
            "the gateway does not hear it (exception 11, gateway target device failed to respond); see its power, its wires and unit_id in the shop file"
        }
        ExceptionCode::Custom(code) => {
            return format!("it gives the exception {code}, which its manual may explain");
        }
    };
    sentence.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes and names: MODBUS Application Protocol V1.1b3, section 7.
    #[test]
    fn every_published_exception_is_named() {
        for (code, name) in [
            (1, "illegal function"),
            (2, "illegal data address"),
            (3, "illegal data value"),
            (4, "device failure"),
            (5, "acknowledge"),
            (6, "device busy"),
            (8, "memory parity error"),
            (10, "gateway path unavailable"),
            (11, "gateway target device failed to respond"),
        ] {
            let sentence = of_exception(ExceptionCode::new(code));
            assert!(
                sentence.contains(&format!("(exception {code}, {name})")),
                "{sentence}"
            );
        }
        let other = of_exception(ExceptionCode::new(77));
        assert!(other.contains("the exception 77"), "{other}");
    }
}
