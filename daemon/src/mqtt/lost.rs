//! Why a connection ended.

use crate::broker::Trouble;

/// Why a connection ended.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum Lost {
    #[error("the broker has closed the connection")]
    Closed,
    #[error(
        "the broker closes the connection without letting us in; see host and port, user and password in the shop file, and the broker's log"
    )]
    Unheard,
    #[error("the connection to the broker broke ({0})")]
    Broken(String),
    #[error("the broker does not answer any more")]
    Silent,
    #[error("what the broker sends is no MQTT ({0}); see whether host and port are a broker's")]
    NoMqtt(String),
}

/// What is to be done about it, for who does not look at it more closely.
impl From<Lost> for Trouble {
    fn from(lost: Lost) -> Trouble {
        match lost {
            Lost::Closed => Trouble::passing(format!(
                "{lost}; see its log, and whether another client has taken our name"
            )),
            Lost::Silent => Trouble::passing(format!("{lost}; see whether it is overloaded")),
            Lost::NoMqtt(_) => Trouble::slow(lost.to_string()),
            Lost::Unheard | Lost::Broken(_) => Trouble::passing(lost.to_string()),
        }
    }
}
