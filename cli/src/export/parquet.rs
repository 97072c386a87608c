//! A table as Apache Parquet, without compression: every reader knows that. A row group is written as soon as it is full,
//! so that memory holds one.

use std::io::Write;
use std::sync::Arc;

use inkdwell_daemon::table::{Cell, Column, Kind};
use parquet::basic::{LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::Type;

use super::csv::failed;
use super::table::Rows;
use crate::failure::Failure;

/// So many rows are one group.
const GROUP: usize = 65_536;

/// The cells of one column that wait for being written: the values that there are, and for each row whether it has one.
struct Waiting {
    kind: Kind,
    whole: Vec<i64>,
    numbers: Vec<f64>,
    texts: Vec<ByteArray>,
    truths: Vec<bool>,
    there: Vec<i16>,
}

impl Waiting {
    fn new(kind: Kind) -> Waiting {
        Waiting {
            kind,
            whole: Vec::new(),
            numbers: Vec::new(),
            texts: Vec::new(),
            truths: Vec::new(),
            there: Vec::new(),
        }
    }

    fn take(&mut self, cell: Cell) {
        let there = match (self.kind, cell) {
            (Kind::Whole, Cell::Whole(own)) | (Kind::Moment, Cell::Moment(own)) => {
                self.whole.push(own);
                true
            }
            (Kind::Number, Cell::Number(own)) => {
                self.numbers.push(own);
                true
            }
            (Kind::Text, Cell::Text(own)) => {
                self.texts.push(ByteArray::from(own.into_bytes()));
                true
            }
            (Kind::Truth, Cell::Truth(own)) => {
                self.truths.push(own);
                true
            }
            _ => false,
        };
        self.there.push(i16::from(there));
    }

    fn write<W: Write + Send>(
        &mut self,
        group: &mut SerializedRowGroupWriter<'_, W>,
    ) -> Result<(), ParquetError> {
        match self.kind {
            Kind::Whole | Kind::Moment => one::<W, Int64Type>(group, &self.whole, &self.there),
            Kind::Number => one::<W, DoubleType>(group, &self.numbers, &self.there),
            Kind::Text => one::<W, ByteArrayType>(group, &self.texts, &self.there),
            Kind::Truth => one::<W, BoolType>(group, &self.truths, &self.there),
        }?;
        *self = Waiting::new(self.kind);
        Ok(())
    }
}

fn one<W: Write + Send, T: DataType>(
    group: &mut SerializedRowGroupWriter<'_, W>,
    values: &[T::T],
    there: &[i16],
) -> Result<(), ParquetError> {
    let missing = || ParquetError::General("a column is missing".to_owned());
    let mut column = group.next_column()?.ok_or_else(missing)?;
    column.typed::<T>().write_batch(values, Some(there), None)?;
    column.close()
}

/// Writes rows into a Parquet file.
pub(crate) struct Parquet<W: Write + Send> {
    writer: SerializedFileWriter<W>,
    waiting: Vec<Waiting>,
    name: String,
}

impl<W: Write + Send> Parquet<W> {
    /// Begins a file; what each column says stands in its metadata. `name` is what a failure calls the file.
    pub(crate) fn new(out: W, name: &str, columns: &[Column]) -> Result<Parquet<W>, Failure> {
        let begun = schema(columns).and_then(|schema| {
            let told = columns
                .iter()
                .map(|own| KeyValue::new(own.name.to_owned(), own.told.to_owned()));
            let properties = WriterProperties::builder()
                .set_key_value_metadata(Some(told.collect()))
                .build();
            SerializedFileWriter::new(out, Arc::new(schema), Arc::new(properties))
        });
        Ok(Parquet {
            writer: begun.map_err(|error| failed(name, error))?,
            waiting: columns.iter().map(|own| Waiting::new(own.kind)).collect(),
            name: name.to_owned(),
        })
    }

    /// So many rows wait in memory.
    fn held(&self) -> usize {
        self.waiting.first().map_or(0, |own| own.there.len())
    }

    fn group(&mut self) -> Result<(), ParquetError> {
        let mut group = self.writer.next_row_group()?;
        for waiting in &mut self.waiting {
            waiting.write(&mut group)?;
        }
        group.close().map(|_| ())
    }

    /// Writes what waits, and the file's end.
    pub(crate) fn finish(mut self) -> Result<(), Failure> {
        let grouped = if self.held() > 0 {
            self.group()
        } else {
            Ok(())
        };
        let closed = grouped.and_then(|()| self.writer.close().map(|_| ()));
        closed.map_err(|error| failed(&self.name, error))
    }
}

impl<W: Write + Send> Rows for Parquet<W> {
    fn row(&mut self, cells: Vec<Cell>) -> Result<(), Failure> {
        for (waiting, cell) in self.waiting.iter_mut().zip(cells) {
            waiting.take(cell);
        }
        if self.held() >= GROUP {
            let grouped = self.group();
            grouped.map_err(|error| failed(&self.name, error))?;
        }
        Ok(())
    }
}

fn schema(columns: &[Column]) -> Result<Type, ParquetError> {
    let fields = columns.iter().map(|own| {
        let (physical, logical) = match own.kind {
            Kind::Whole => (Physical::INT64, None),
            Kind::Number => (Physical::DOUBLE, None),
            Kind::Moment => (
                Physical::INT64,
                Some(LogicalType::timestamp(true, TimeUnit::MICROS)),
            ),
            Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
            Kind::Truth => (Physical::BOOLEAN, None),
        };
        let field = Type::primitive_type_builder(own.name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical)
            .build()?;
        Ok(Arc::new(field))
    });
    let fields = fields.collect::<Result<Vec<_>, ParquetError>>()?;
    Type::group_type_builder("inkdwell")
        .with_fields(fields)
        .build()
}

#[cfg(test)]
mod tests {
    use std::io;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;
    use inkdwell_daemon::table::column;

    /// Counts what is written, and keeps none of it.
    struct Counted(Arc<AtomicUsize>);

    impl Write for Counted {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.fetch_add(bytes.len(), Ordering::Relaxed);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn however_many_rows_there_are_one_group_of_them_waits_in_memory() {
        let written = Arc::new(AtomicUsize::new(0));
        let columns = [
            column("number", Kind::Whole, "a number"),
            column("word", Kind::Text, "a word"),
        ];
        let out = Counted(Arc::clone(&written));
        let mut parquet = Parquet::new(out, "x", &columns).unwrap();
        let (mut most, mut by_group) = (0, Vec::new());
        for number in 0..200_000 {
            let word = Cell::Text(format!("{number:08}"));
            parquet.row(vec![Cell::Whole(number), word]).unwrap();
            most = most.max(parquet.held());
            if parquet.held() == 0 {
                by_group.push(written.load(Ordering::Relaxed));
            }
        }
        assert_eq!(most, GROUP - 1);
        // Three groups are full, and each has gone out before the next one began: at least its numbers and words, eight
        // bytes each.
        assert_eq!(by_group.len(), 200_000 / GROUP);
        let mut sizes = by_group.iter().scan(0, |before, all| {
            let own = all - *before;
            *before = *all;
            Some(own)
        });
        assert!(sizes.all(|own| own >= 8 * GROUP), "{by_group:?}");
        parquet.finish().unwrap();
    }
}
