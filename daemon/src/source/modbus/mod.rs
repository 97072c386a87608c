//! Modbus devices, polled: RTU on a serial bus, and TCP.
//!
//! One task polls one bus. Rounds keep to the poll interval: a late one makes the next neither late nor
//! doubled. Each answer is a delivery of its own, stamped when it came.
//!
//! A device that does not answer costs its time-out once in a round. From then on it is asked less and less
//! often, and never more than one such device in a round, so that the others are not held up. While any
//! device does not answer, or answers nonsense, or refuses, the source is told as down, and why; what the
//! others say is taken all the same.
//!
//! Neighbouring registers are asked for together. A device that refuses that is asked for each number by
//! itself from then on.
//!
//! No answer is taken for that to another question. Over TCP its number tells; after a time-out the
//! connection is made anew. On a serial line nothing tells but device, table and length: so what comes
//! unasked is thrown away before each question and counted as garbled, and after a time-out the first answer
//! is not believed where it could be mistaken.

mod bus;
mod device;
mod link;
mod number;
mod plan;
mod tap;
mod words;

use std::sync::Arc;
use std::time::Duration;

use inkdwell_config::quantity::Seconds;
use inkdwell_config::shop::{Modbus, ModbusLink};
use tokio::time::{Instant, MissedTickBehavior, interval};
use tokio_modbus::ExceptionCode;
use tokio_util::sync::CancellationToken;

use self::bus::{Answer, Bus};
use self::device::Device;
use self::plan::{Block, plan};
use self::words::of_exception;
use super::health::Health;
use super::port::{self, Found, Ports, SystemPorts};
use super::telling::Teller;
use super::waits::Waits;
use crate::intake::{Closed, Delivery, Intake, SourceId};

/// Where every device is silent for so long, the bus is opened anew; after each time that this did not
/// help, it takes twice as long, up to the second bound.
const OPEN_ANEW_AFTER: (Duration, Duration) = (Duration::from_secs(10), Duration::from_secs(600));
/// After the daemon was told to stop, what was read is handed over within this time.
const TAKE_WITHIN: Duration = Duration::from_secs(2);

/// Polls until it is told to stop, or the intake closes.
pub async fn run(
    source: SourceId,
    settings: Modbus,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
) {
    run_with(
        Arc::new(SystemPorts),
        source,
        settings,
        intake,
        health,
        stop,
    )
    .await;
}

/// The same, with the serial ports of another machine.
pub async fn run_with(
    ports: Arc<dyn Ports>,
    source: SourceId,
    settings: Modbus,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
) {
    let task = Task {
        ports,
        source,
        devices: plan(&settings.registers)
            .into_iter()
            .map(Device::new)
            .collect(),
        poll: duration(settings.poll),
        timeout: duration(settings.timeout),
        link: settings.link,
        teller: Teller::new(source, intake.clone(), Arc::clone(&health)),
        intake,
        health,
        stop,
        waits: Waits::default(),
        heard: Instant::now(),
        vain: 0,
    };
    task.run().await;
}

/// A time as it is declared, from a millisecond to a year.
fn duration(seconds: Seconds) -> Duration {
    Duration::from_secs_f64(seconds.0.clamp(1e-3, 365.0 * 86_400.0))
}

/// How a connection ended.
enum End {
    /// The daemon stops.
    Stopped,
    /// The bus is lost, and why.
    Lost(String),
    /// No device answers, though the bus is there.
    Silent,
}

impl From<Closed> for End {
    fn from(_: Closed) -> End {
        End::Stopped
    }
}

struct Task {
    ports: Arc<dyn Ports>,
    source: SourceId,
    devices: Vec<Device>,
    poll: Duration,
    timeout: Duration,
    link: ModbusLink,
    teller: Teller,
    intake: Intake,
    health: Arc<Health>,
    stop: CancellationToken,
    waits: Waits,
    /// When a device last answered, or the bus was opened.
    heard: Instant,
    /// How often opening anew did not help.
    vain: u32,
}

impl Task {
    async fn run(mut self) {
        loop {
            let why = match self.connection().await {
                End::Stopped => return,
                End::Lost(why) => why,
                End::Silent => {
                    self.vain = self.vain.saturating_add(1);
                    continue;
                }
            };
            self.teller
                .down(format!("{why} (tried again every few seconds)"));
            let told = self.teller.tell();
            if !matches!(
                self.stop.clone().run_until_cancelled(told).await,
                Some(Ok(()))
            ) {
                return;
            }
            let stop = self.stop.clone();
            if stop.run_until_cancelled(self.wait()).await.is_none() {
                return;
            }
        }
    }

    /// Waits before the bus is tried again.
    async fn wait(&mut self) {
        match &self.link {
            ModbusLink::Rtu(settings) => {
                port::wait(&self.ports, &settings.port, &mut self.waits).await;
            }
            ModbusLink::Tcp { .. } => tokio::time::sleep(self.waits.next_wait()).await,
        }
    }

    async fn connection(&mut self) -> End {
        let opened = match self
            .until_stopped(link::open(&self.ports, &self.link))
            .await
        {
            None => return End::Stopped,
            Some(Err(why)) => return End::Lost(why),
            Some(Ok(opened)) => opened,
        };
        let (mut bus, found) = opened;
        self.heard = Instant::now();
        self.devices.iter_mut().for_each(Device::begin);
        let mut rounds = interval(self.poll);
        rounds.set_missed_tick_behavior(MissedTickBehavior::Skip);
        loop {
            if self.until_stopped(rounds.tick()).await.is_none() {
                return End::Stopped;
            }
            if let Err(end) = self.round(&mut bus).await {
                return end;
            }
            if self.devices.iter().all(Device::is_silent)
                && let Err(end) = self.all_silent(found.as_ref()).await
            {
                return end;
            }
        }
    }

    /// What somebody else does, unless the daemon is told to stop before.
    async fn until_stopped<T>(&self, work: impl Future<Output = T>) -> Option<T> {
        self.stop.run_until_cancelled(work).await
    }

    /// Asks every device that is due.
    async fn round(&mut self, bus: &mut Bus) -> Result<(), End> {
        let mut patience = 1;
        for device in 0..self.devices.len() {
            let Some(known) = self.devices.get(device) else {
                break;
            };
            if !known.is_due(Instant::now()) || (known.is_silent() && patience == 0) {
                continue;
            }
            patience -= i32::from(known.is_silent());
            let trouble = self.ask_device(bus, device).await?;
            if let Some(known) = self.devices.get_mut(device) {
                known.round_ended(trouble);
            }
            self.tell().await?;
        }
        Ok(())
    }

    /// Asks a device for all of its blocks; what was wrong, if anything.
    async fn ask_device(&mut self, bus: &mut Bus, device: usize) -> Result<Option<String>, End> {
        let mut trouble = None;
        let mut next = 0;
        while let Some(known) = self.devices.get(device)
            && let Some(block) = known.blocks.get(next)
        {
            let (unit_id, block) = (known.unit_id, block.clone());
            let answer = self.ask(bus, unit_id, &block).await?;
            let arrived = std::time::Instant::now();
            let Some(known) = self.devices.get_mut(device) else {
                break;
            };
            next += 1;
            match answer {
                Answer::Words(words) => {
                    self.heard = Instant::now();
                    self.vain = 0;
                    self.waits.reset();
                    if known.answered() {
                        self.hand_over(arrived, &block, &words).await?;
                    }
                }
                Answer::Refused(exception) => {
                    self.heard = Instant::now();
                    self.vain = 0;
                    self.waits.reset();
                    known.answered();
                    if exception == ExceptionCode::GatewayTargetDevice {
                        // The gateway has waited for it as we would have.
                        known.kept_silent(self.poll, false);
                        return Ok(Some(refusal(unit_id, &block, exception)));
                    }
                    if refuses_request(exception) && known.take_apart(next - 1) {
                        next -= 1;
                        continue;
                    }
                    trouble.get_or_insert_with(|| refusal(unit_id, &block, exception));
                }
                Answer::Silent => {
                    known.kept_silent(self.poll, bus.may_mistake());
                    return Ok(Some(format!(
                        "device {unit_id} does not answer; see its power and its wires, and unit_id and timeout in the shop file"
                    )));
                }
                Answer::Garbled(what) => {
                    self.health.garbled();
                    return Ok(Some(format!(
                        "what comes from device {unit_id} cannot be understood ({what}); see the wires and their termination, and baud, parity and timeout in the shop file"
                    )));
                }
                Answer::Lost(why) => return Err(End::Lost(link::lost(&self.link, &why))),
            }
        }
        Ok(trouble)
    }

    async fn ask(&mut self, bus: &mut Bus, unit_id: u8, block: &Block) -> Result<Answer, End> {
        if bus.is_stale() {
            let opened = self
                .until_stopped(link::open(&self.ports, &self.link))
                .await;
            (*bus, _) = opened.ok_or(End::Stopped)?.map_err(End::Lost)?;
        }
        let asked = async {
            let stray = bus.settle().await;
            (stray, bus.ask(unit_id, block, self.timeout).await)
        };
        let (stray, answer) = self.until_stopped(asked).await.ok_or(End::Stopped)?;
        if stray {
            self.health.garbled();
        }
        Ok(answer)
    }

    async fn hand_over(
        &self,
        arrived: std::time::Instant,
        block: &Block,
        words: &[u16],
    ) -> Result<(), Closed> {
        let said = block.said(words);
        self.health.understood(said.len() as u64);
        let delivery = Delivery {
            source: self.source,
            arrived,
            said,
            mark: None,
            receipt: None,
        };
        let given_up = async {
            self.stop.cancelled().await;
            tokio::time::sleep(TAKE_WITHIN).await;
        };
        tokio::select! {
            biased;
            delivered = self.intake.deliver(delivery) => delivered,
            () = given_up => Err(Closed),
        }
    }

    /// Tells how the source is by what is known of its devices.
    async fn tell(&mut self) -> Result<(), End> {
        let troubles: Vec<&str> = self.devices.iter().filter_map(Device::trouble).collect();
        let others = self.devices.len() - troubles.len();
        match (troubles.is_empty(), others) {
            (true, _) if self.devices.iter().any(Device::is_heard) => self.teller.up(),
            (true, _) => {}
            (false, 0) => self.teller.down(troubles.join("; ")),
            (false, _) => {
                let troubles = troubles.join("; ");
                self.teller
                    .down(format!("{troubles} (the other devices are read)"));
            }
        }
        let stop = self.stop.clone();
        match stop.run_until_cancelled(self.teller.tell()).await {
            Some(told) => Ok(told?),
            None => Err(End::Stopped),
        }
    }

    /// No device answers: looks whether the port is still there, and whether it is time to open it anew.
    async fn all_silent(&self, found: Option<&Found>) -> Result<(), End> {
        if let (Some(found), ModbusLink::Rtu(settings)) = (found, &self.link) {
            let there = port::still_there(&self.ports, &settings.port, found).await;
            there.map_err(End::Lost)?;
        }
        let (shortest, longest) = OPEN_ANEW_AFTER;
        let patience = shortest.saturating_mul(1 << self.vain.min(16)).min(longest);
        match self.heard.elapsed() >= patience {
            true => Err(End::Silent),
            false => Ok(()),
        }
    }
}

/// Whether a device may take the same in smaller pieces.
fn refuses_request(exception: ExceptionCode) -> bool {
    matches!(
        exception,
        ExceptionCode::IllegalDataAddress | ExceptionCode::IllegalDataValue
    )
}

fn refusal(unit_id: u8, block: &Block, exception: ExceptionCode) -> String {
    format!(
        "device {unit_id} refuses {}: {}",
        block.named(),
        of_exception(exception)
    )
}
