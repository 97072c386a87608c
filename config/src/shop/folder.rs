//! Files that a shop file names are found from its own folder, wherever the program that reads it was called.

use std::path::{Path, PathBuf};

use super::broker::{Broker, TlsRoots};
use super::secret::Secret;
use super::{Shop, SinkKind, SourceKind};

/// Takes every file that a shop names to be in a folder, unless its path is absolute. A program without a
/// folder of its own is left to the system's search path.
pub(super) fn find_from(shop: &mut Shop, folder: &Path) {
    let join = |file: &mut PathBuf| *file = folder.join(&*file);
    for source in &mut shop.sources {
        match &mut source.kind {
            SourceKind::Replay { file, .. } => file.iter_mut().for_each(join),
            SourceKind::Simulated { scenario, .. } => scenario.iter_mut().for_each(join),
            SourceKind::Mqtt(mqtt) => of_broker(&mut mqtt.broker, join),
            SourceKind::Serial(_) | SourceKind::Modbus(_) => {}
        }
    }
    for sink in &mut shop.sinks {
        match &mut sink.kind {
            SinkKind::Mqtt(broker) => of_broker(broker, join),
            SinkKind::Influxdb { token, roots, .. } => {
                of_secret(token, join);
                of_roots(roots, join);
            }
            SinkKind::Webhook { secret, roots, .. } => {
                of_secret(secret, join);
                of_roots(roots, join);
            }
            SinkKind::Command { program, .. } => {
                if program.components().count() > 1 {
                    join(program);
                }
            }
        }
    }
    if let Some(tls) = &mut shop.board.tls {
        join(&mut tls.certificate);
        join(&mut tls.key);
    }
}

fn of_broker(broker: &mut Broker, join: impl Fn(&mut PathBuf)) {
    of_secret(&mut broker.password, &join);
    if let Some(roots) = &mut broker.tls {
        of_roots(roots, join);
    }
}

fn of_secret(secret: &mut Option<Secret>, join: impl Fn(&mut PathBuf)) {
    if let Some(Secret::File(file)) = secret {
        join(file);
    }
}

fn of_roots(roots: &mut TlsRoots, join: impl Fn(&mut PathBuf)) {
    if let TlsRoots::File(file) = roots {
        join(file);
    }
}
