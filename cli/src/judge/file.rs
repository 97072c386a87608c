//! One file: its notes, then its rows through the engine.

use std::io::{self, Read};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread;

use inkdwell_cure::engine::{ChannelId, ClothId, Engine, Event, EventKind};
use inkdwell_cure::trace_file::{Cell, Column, NoteScanner, Notes, Reader, TraceFileError};

use super::call::{Call, Named};
use super::channels::{Context, Heading};
use super::input::Input;
use super::progress::Progress;
use super::spool::{Spool, Writer};
use crate::failure::Failure;
use crate::plot::{Figure, Panel};

/// So much is read at once.
const CHUNK: usize = 1 << 18;
/// So many blocks may wait to be judged.
const BLOCKS_BETWEEN: usize = 4;

/// What a file held.
pub(super) struct Found {
    pub(super) passes: u64,
    pub(super) all_good: bool,
}

/// Judges one file and adds what it finds to `spool`; `any_before` says whether passes stand there
/// already.
///
/// One thread reads and another judges, with a few blocks between them, so that a file costs the longer
/// of the two and the memory of those blocks.
pub(super) fn judge<W: Writer>(
    call: &Call,
    named: &Named,
    writer: &mut W,
    (spool, any_before): (&mut Spool, &mut bool),
    figure: Option<&mut Figure>,
    progress: &mut Progress,
) -> Result<Found, Failure> {
    let mut input = Input::open(named)?;
    let notes = read_notes(&mut input, progress).map_err(|error| broken(named, &error))?;
    let context = Context::new(call, &named.shown, &notes)?;
    input.rewind().map_err(|error| broken(named, &error))?;

    let with_panels = figure.is_some();
    let (to_desk, blocks) = sync_channel(BLOCKS_BETWEEN);
    let (to_reader, spare) = channel();
    let desk = thread::scope(|scope| {
        let reading = scope.spawn(|| {
            let mut rows = RowReader {
                named,
                input,
                progress,
                to_desk,
                spare,
            };
            rows.read_all(Reader::new(call.layout.clone()))
        });
        let desk = judge_blocks(&context, &blocks, &to_reader, writer, with_panels);
        // Whoever still reads for a desk that has given up is told by the closed way.
        drop(blocks);
        match reading.join() {
            Ok(read) => desk.and_then(|desk| read.map(|()| desk)),
            Err(panic) => std::panic::resume_unwind(panic),
        }
    })?;
    let found = match desk {
        Some(desk) => desk.finish(writer, spool, figure, any_before)?,
        None => Found {
            passes: 0,
            all_good: true,
        },
    };
    if found.passes == 0 {
        progress.say(&call.no_pass(&named.shown, context.wake()));
    }
    Ok(found)
}

fn broken(named: &Named, error: &io::Error) -> Failure {
    let what = format_args!("cannot be read ({error})");
    Failure::of_file(&named.shown, what, "check the disk it lies on")
}

/// Judges blocks as they come; gives the empty ones back.
fn judge_blocks<W: Writer>(
    context: &Context<'_>,
    blocks: &Receiver<Block>,
    to_reader: &Sender<Block>,
    writer: &mut W,
    with_panels: bool,
) -> Result<Option<Desk>, Failure> {
    let mut desk: Option<Desk> = None;
    for mut block in blocks {
        if desk.is_none() {
            desk = Some(Desk::new(context, &block.header, with_panels)?);
        }
        if let Some(desk) = &mut desk {
            desk.take(&mut block, writer)?;
        }
        // The reader may have finished; then nobody needs the block any more.
        let _ = to_reader.send(block);
    }
    Ok(desk)
}

/// Reads the rows of a file into blocks.
struct RowReader<'a> {
    named: &'a Named,
    input: Input,
    progress: &'a mut Progress,
    to_desk: SyncSender<Block>,
    spare: Receiver<Block>,
}

impl RowReader<'_> {
    fn read_all(&mut self, mut reader: Reader) -> Result<(), Failure> {
        let refused = |named: &Named, error: TraceFileError| match error.line {
            Some(_) => Failure::new(format!("{}:{error}", named.shown)),
            None => Failure::new(format!("{}: {error}", named.shown)),
        };
        let mut bytes = vec![0; CHUNK];
        loop {
            let mut block = self.spare.try_recv().unwrap_or_default();
            let count = self
                .input
                .read(&mut bytes)
                .map_err(|error| broken(self.named, &error))?;
            self.progress.advance(count);
            let mut take = |time: f64, cells: &[Cell]| block.take(time, cells);
            let fed = if count == 0 {
                reader.finish(&mut take)
            } else {
                reader.feed(&bytes[..count], &mut take)
            };
            fed.map_err(|error| refused(self.named, error))?;
            if !reader.columns().is_empty() {
                if block.header.is_empty() {
                    block.header = reader.columns().to_vec();
                }
                if self.to_desk.send(block).is_err() {
                    // The desk has given up, and says why itself.
                    return Ok(());
                }
            }
            if count == 0 {
                return Ok(());
            }
        }
    }
}

fn read_notes(input: &mut Input, progress: &mut Progress) -> io::Result<Notes> {
    let mut scanner = NoteScanner::new();
    let mut bytes = vec![0; CHUNK];
    loop {
        let count = input.read(&mut bytes)?;
        progress.advance(count);
        if count == 0 {
            return Ok(scanner.finish());
        }
        scanner.feed(&bytes[..count]);
    }
}

/// Readings that have been read but not judged, by column; NaN where a cell was bad.
#[derive(Default)]
struct Block {
    /// What the columns are.
    header: Vec<Column>,
    columns: Vec<Vec<(f64, f64)>>,
}

impl Block {
    /// The readings of a column.
    fn of(&self, column: usize) -> &[(f64, f64)] {
        self.columns.get(column).map_or(&[], Vec::as_slice)
    }

    #[inline]
    fn take(&mut self, time: f64, cells: &[Cell]) {
        if self.columns.len() != cells.len() {
            self.columns.resize_with(cells.len(), Vec::new);
        }
        for (column, cell) in self.columns.iter_mut().zip(cells) {
            match cell {
                Cell::Value(value) => column.push((time, *value)),
                Cell::Bad => column.push((time, f64::NAN)),
                Cell::Missing => {}
            }
        }
    }
}

/// One channel on its way through the engine.
struct Channel {
    id: ChannelId,
    column: usize,
    /// The columns of unprinted cloth beside it.
    cloth: Vec<usize>,
    heading: Heading,
    spool: Spool,
    passes: u64,
    panel: Option<Panel>,
}

/// Where a file's blocks are judged.
struct Desk {
    engine: Engine,
    channels: Vec<Channel>,
    cloths: Vec<(usize, ClothId)>,
    passes: u64,
    all_good: bool,
}

impl Desk {
    fn new(context: &Context<'_>, columns: &[Column], with_panels: bool) -> Result<Desk, Failure> {
        let (judged, cloth) = context.channels(columns)?;
        let mut engine = Engine::new();
        let mut cloths = Vec::new();
        let mut channels = Vec::new();
        for judged in judged {
            let panel = with_panels
                .then(|| Panel::new(&judged.heading, context.ink, context.fabric, &judged.plan));
            let id = engine.add_channel(judged.plan);
            for cloth in &cloth {
                cloths.push((
                    cloth.column,
                    engine.add_cloth(id, &cloth.header, cloth.doubt),
                ));
            }
            let (column, heading) = (judged.column, judged.heading);
            channels.push(Channel {
                id,
                column,
                cloth: cloth.iter().map(|cloth| cloth.column).collect(),
                heading,
                spool: Spool::new(),
                passes: 0,
                panel,
            });
        }
        Ok(Desk {
            engine,
            channels,
            cloths,
            passes: 0,
            all_good: true,
        })
    }

    /// Judges a block: the cloth before the rides, as the engine asks.
    fn take<W: Writer>(&mut self, block: &mut Block, writer: &mut W) -> Result<(), Failure> {
        for (column, id) in &self.cloths {
            self.engine.feed_cloth_all(*id, block.of(*column));
        }
        let mut events = Vec::new();
        for channel in &mut self.channels {
            let readings = block.of(channel.column);
            if let Some(panel) = &mut channel.panel {
                panel.take(readings);
                for (number, column) in channel.cloth.iter().enumerate() {
                    panel.take_cloth(number, block.of(*column));
                }
            }
            self.engine
                .feed_all(channel.id, readings, &mut |event| events.push(event));
        }
        block.columns.iter_mut().for_each(Vec::clear);
        self.write(events, writer)
    }

    fn write<W: Writer>(&mut self, events: Vec<Event>, writer: &mut W) -> Result<(), Failure> {
        for event in events {
            let EventKind::PassJudged(pass) = event.kind else {
                continue;
            };
            let Some(channel) = self
                .channels
                .iter_mut()
                .find(|known| known.id == event.channel)
            else {
                continue;
            };
            self.passes += 1;
            self.all_good &= pass.verdict.is_good();
            if channel.passes == 0 {
                writer.heading(&mut channel.spool, &channel.heading)?;
            } else {
                channel.spool.write(writer.separator())?;
            }
            channel.passes += 1;
            writer.pass(&mut channel.spool, &channel.heading, &pass)?;
            if let Some(panel) = &mut channel.panel {
                panel.mark(&pass);
            }
        }
        Ok(())
    }

    fn finish<W: Writer>(
        mut self,
        writer: &mut W,
        spool: &mut Spool,
        figure: Option<&mut Figure>,
        any_before: &mut bool,
    ) -> Result<Found, Failure> {
        let mut events = Vec::new();
        self.engine.finish(&mut |event| events.push(event));
        self.write(events, writer)?;
        let mut panels = Vec::new();
        for channel in self.channels {
            if channel.passes > 0 {
                if *any_before {
                    spool.write(writer.separator())?;
                }
                *any_before = true;
                spool.append(channel.spool)?;
            }
            panels.extend(channel.panel);
        }
        if let Some(figure) = figure {
            panels.into_iter().for_each(|panel| figure.add(panel));
        }
        Ok(Found {
            passes: self.passes,
            all_good: self.all_good,
        })
    }
}
