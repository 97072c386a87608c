//! One bus: a question, and what became of it.

use std::io;
use std::pin::Pin;
use std::task::{Context as Poller, Poll};
use std::time::Duration;

use inkdwell_config::shop::RegisterTable;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::{Instant, sleep_until};
use tokio_modbus::client::{Client, Context, rtu, tcp};
use tokio_modbus::slave::SlaveContext;
use tokio_modbus::{ExceptionCode, Request, Response, Slave};

use super::plan::Block;
use super::tap::Tap;
use crate::source::port::Wire;

/// A serial answer that pauses for so long has ended. (A USB adapter may hold bytes back for 16 ms.)
const PAUSE: Duration = Duration::from_millis(150);

/// A line that never falls silent is asked nevertheless.
const SETTLED_WITHIN: Duration = Duration::from_secs(1);

/// What became of a question.
#[derive(Debug)]
pub(super) enum Answer {
    /// As many words as were asked for.
    Words(Vec<u16>),
    /// The device refuses.
    Refused(ExceptionCode),
    /// Nothing came.
    Silent,
    /// What came was not the answer, and why not.
    Garbled(String),
    /// The wire is lost, and why.
    Lost(String),
}

/// How requests and answers are framed.
#[derive(Debug, Clone, Copy)]
pub(super) enum Framing {
    /// On a serial line, with this silence between frames.
    Rtu {
        /// Three and a half characters.
        silence: Duration,
    },
    /// Over TCP.
    Tcp,
}

impl Framing {
    /// On a serial line of so many bits a second: 3.5 characters of 11 bits, above 19 200 bits a second
    /// 1.75 ms (MODBUS over serial line V1.02, section 2.5.1.1).
    pub(super) fn rtu(baud: u32) -> Framing {
        let silence = match baud {
            19_201.. => 1.75e-3,
            baud => 3.5 * 11.0 / f64::from(baud.max(1)),
        };
        Framing::Rtu {
            silence: Duration::from_secs_f64(silence),
        }
    }
}

/// A bus with devices on it, asked one question at a time.
pub(super) struct Bus {
    framing: Framing,
    tap: Tap,
    client: Context,
    /// Whether what came last may have more behind it.
    unsettled: bool,
}

impl Bus {
    pub(super) fn new(framing: Framing, wire: Box<dyn Wire>) -> Bus {
        let tap = Tap::new(wire);
        let client = client(framing, &tap);
        Bus {
            framing,
            tap,
            client,
            unsettled: false,
        }
    }

    /// Whether a late answer could be taken for that to the next question, so that only a new connection
    /// helps. (On a serial line, stray bytes are thrown away before each question.)
    pub(super) fn is_stale(&self) -> bool {
        self.unsettled && matches!(self.framing, Framing::Tcp)
    }

    /// Whether a late answer may be taken for that to another question.
    pub(super) fn may_mistake(&self) -> bool {
        matches!(self.framing, Framing::Rtu { .. })
    }

    /// Makes ready for a question: lets the line fall silent, and throws away what came unasked. Says whether
    /// anything had.
    pub(super) async fn settle(&mut self) -> bool {
        let mut stray = self.tap.discard_input().await > 0;
        if let Framing::Rtu { silence } = self.framing {
            let silence = match self.unsettled || stray {
                true => PAUSE,
                false => silence,
            };
            let latest = Instant::now() + SETTLED_WITHIN;
            loop {
                let (_, used) = self.tap.came();
                if used.elapsed() >= silence || Instant::now() >= latest {
                    break;
                }
                sleep_until(used + silence).await;
                stray |= self.tap.discard_input().await > 0;
            }
            self.unsettled = false;
        }
        stray
    }

    /// Asks a device for a block.
    pub(super) async fn ask(&mut self, unit_id: u8, block: &Block, within: Duration) -> Answer {
        let question = match block.table {
            RegisterTable::Input => Request::ReadInputRegisters(block.address, block.count),
            RegisterTable::Holding => Request::ReadHoldingRegisters(block.address, block.count),
        };
        self.client.set_slave(Slave(unit_id));
        let answer = tokio::select! {
            answer = self.client.call(question) => Some(answer),
            () = ended(&self.tap, self.framing, Instant::now() + within) => None,
        };
        let answer = match answer {
            Some(Ok(Ok(response))) => words(response, block),
            Some(Ok(Err(exception))) => Answer::Refused(exception),
            Some(Err(tokio_modbus::Error::Protocol(_))) => {
                Answer::Garbled("an answer to another question".to_owned())
            }
            Some(Err(tokio_modbus::Error::Transport(error))) => match self.tap.lost() {
                Some(why) => Answer::Lost(why),
                None => Answer::Garbled(of_transport(&error)),
            },
            None => match self.tap.came().0 {
                0 => Answer::Silent,
                _ => Answer::Garbled("half an answer, or one with a wrong check sum".to_owned()),
            },
        };
        if matches!(answer, Answer::Silent | Answer::Garbled(_)) {
            self.unsettled = true;
            // The library may be in the midst of an answer.
            self.client = client(self.framing, &self.tap);
        }
        answer
    }
}

fn client(framing: Framing, tap: &Tap) -> Context {
    match framing {
        Framing::Rtu { .. } => rtu::attach(tap.clone()),
        Framing::Tcp => tcp::attach(tap.clone()),
    }
}

fn words(response: Response, block: &Block) -> Answer {
    match (response, block.table) {
        (Response::ReadInputRegisters(words), RegisterTable::Input)
        | (Response::ReadHoldingRegisters(words), RegisterTable::Holding)
            if words.len() == usize::from(block.count) =>
        {
            Answer::Words(words)
        }
        _ => Answer::Garbled("an answer of a wrong length".to_owned()),
    }
}

fn of_transport(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::InvalidData | io::ErrorKind::UnexpectedEof => {
            "an answer with a wrong check sum or a wrong length".to_owned()
        }
        _ => error.to_string(),
    }
}

/// Returns at the deadline, or when a serial answer has begun and pauses.
async fn ended(tap: &Tap, framing: Framing, deadline: Instant) {
    loop {
        let next = match (framing, tap.came()) {
            (Framing::Rtu { .. }, (1.., used)) => (used + PAUSE).min(deadline),
            (Framing::Rtu { .. }, _) => (Instant::now() + PAUSE).min(deadline),
            (Framing::Tcp, _) => deadline,
        };
        if next <= Instant::now() {
            return;
        }
        sleep_until(next).await;
    }
}

/// A connection over TCP, as a wire: the network has its own ways to throw things away.
pub(super) struct TcpWire(pub(super) TcpStream);

impl Wire for TcpWire {
    fn discard_input(&mut self) {}

    fn discard_output(&mut self) {}
}

impl AsyncRead for TcpWire {
    fn poll_read(
        mut self: Pin<&mut Self>,
        poller: &mut Poller<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_read(poller, buffer)
    }
}

impl AsyncWrite for TcpWire {
    fn poll_write(
        mut self: Pin<&mut Self>,
        poller: &mut Poller<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(poller, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, poller: &mut Poller<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(poller)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, poller: &mut Poller<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(poller)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// MODBUS over serial line V1.02, section 2.5.1.1; at 9600 bits a second 3.5 characters of 11 bits are
    /// 4.01 ms.
    #[test]
    fn frames_stand_three_and_a_half_characters_apart() {
        let silence = |baud| match Framing::rtu(baud) {
            Framing::Rtu { silence } => silence.as_micros(),
            Framing::Tcp => 0,
        };
        assert_eq!(silence(9600), 4010);
        assert_eq!(silence(19_200), 2005);
        assert_eq!(silence(38_400), 1750);
        assert_eq!(silence(115_200), 1750);
    }
}
