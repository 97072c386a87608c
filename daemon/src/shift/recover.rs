//! Taking the keeper up where the last shift left it.

use std::collections::HashMap;
use std::sync::Arc;

use super::commit::TICK_SOURCE;
use super::{Options, StartError};
use crate::intake::{SourceId, Value};
use crate::journal::{ChannelNumber, CommitNumber, Reader, Shown, Writer};
use crate::keeper::{Keeper, TICK, TICKS, Taking, Unreadable};
use crate::time::{Micros, Steady};

/// The keeper as it was at the last commit.
pub(super) fn keeper(
    options: &Options,
    reader: &Reader,
    writer: &mut Writer,
    steady: &Steady,
) -> Result<Keeper, StartError> {
    let now = steady.now();
    let wall = steady.wall_at_start(now);
    let shop = options.shop.clone();
    let (mut keeper, after) = match reader.last_checkpoint()? {
        None => return Ok(Keeper::new(shop, now, wall)),
        Some(checkpoint) => match Keeper::restored(shop, &checkpoint.bytes, now, wall) {
            Ok(keeper) => (keeper, checkpoint.commit),
            Err(Unreadable::OtherVersion) => begun_anew(options, reader, writer, (now, wall))?,
            Err(error) => return Err(error.into()),
        },
    };
    replay(&mut keeper, reader, after)?;
    Ok(keeper)
}

/// A keeper of another version cannot be taken up: a new one is told what the journal knows of batches, holds,
/// recipes and calibrations, and fed with what of the last readings is still in order.
fn begun_anew(
    options: &Options,
    reader: &Reader,
    writer: &mut Writer,
    (now, wall): (Micros, Micros),
) -> Result<(Keeper, CommitNumber), StartError> {
    tracing::info!("another version of the daemon was here before: its last hour is read again");
    let after = reader.replayable_after()?;
    let mut keeper = Keeper::new(options.shop.clone(), now, wall);
    let next = writer.next_numbers()?;
    keeper.count_from(
        next.pass - 1,
        next.batch - 1,
        next.hold - 1,
        next.recipe - 1,
    );
    for recipe in reader.recipes_in_force()? {
        let record = crate::record::Record::RecipeLocked(recipe.recipe);
        keeper.replay_record(now, &record);
    }
    for calibration in reader.calibrations(None)? {
        let record = crate::record::Record::Calibrated(calibration.calibration);
        keeper.replay_record(now, &record);
    }
    for batch in reader.batches(crate::journal::Batches::Open)? {
        let record = crate::record::Record::BatchOpened(batch.batch);
        keeper.replay_record(batch.opened, &record);
    }
    for standing in reader.standing_alarms()? {
        if let crate::record::Record::AlarmChanged(changed) = &standing.record {
            keeper.adopt_alarm(now, changed);
        }
    }
    Ok((keeper, after))
}

/// Feeds what was committed after a checkpoint once more.
fn replay(keeper: &mut Keeper, reader: &Reader, after: CommitNumber) -> Result<(), StartError> {
    let sources = keeper.shop().sources.iter().enumerate();
    let sources: HashMap<String, SourceId> = sources
        .map(|(number, source)| (source.id.clone(), SourceId(number as u16)))
        .collect();
    let mut channels: HashMap<ChannelNumber, (SourceId, Arc<str>)> = HashMap::new();
    for known in reader.channels()? {
        let source = if known.source == TICK_SOURCE && known.name == TICK {
            Some(TICKS)
        } else {
            sources.get(&known.source).copied()
        };
        // What the shop file no longer has is not fed any more.
        if let Some(source) = source {
            channels.insert(known.number, (source, Arc::from(known.name)));
        }
    }
    for commit in reader.replay_after(after) {
        let commit = commit?;
        for reading in commit.readings {
            let Some((source, channel)) = channels.get(&reading.channel) else {
                continue;
            };
            keeper.replay(&Taking {
                source: *source,
                channel: Arc::clone(channel),
                at: reading.at,
                value: match reading.shown {
                    Shown::Number(number) => Value::Number(number),
                    Shown::Word(word) => {
                        let word = reader.word(word)?.unwrap_or_default();
                        Value::NoNumber(Arc::from(word))
                    }
                },
                fed: reading.fed,
            });
        }
        for record in commit.records {
            keeper.replay_record(record.at, &record.record);
        }
    }
    Ok(())
}
