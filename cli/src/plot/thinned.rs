//! A trace in as many columns as can be seen, however long it is.

/// Columns at most; when they are full, neighbours are merged.
const MOST: usize = 4096;

/// What the trace did within a column of time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column {
    pub(super) time: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    /// Whether a gap lies before it.
    pub(super) after_gap: bool,
}

/// A trace, thinned while it is taken; peaks and troughs are kept.
#[derive(Debug, Clone)]
pub(super) struct Thinned {
    columns: Vec<Column>,
    /// Width of a column in seconds; 0 while every sample has its own.
    width: f64,
    max_gap: f64,
    last: Option<f64>,
}

impl Thinned {
    pub(super) fn new(max_gap: f64) -> Thinned {
        Thinned {
            columns: Vec::new(),
            width: 0.0,
            max_gap,
            last: None,
        }
    }

    pub(super) fn take(&mut self, time: f64, value: f64) {
        let after_gap = self.last.is_some_and(|last| time - last > self.max_gap);
        self.last = Some(time);
        if let Some(column) = self.columns.last_mut()
            && !after_gap
            && time - column.time < self.width
        {
            column.low = column.low.min(value);
            column.high = column.high.max(value);
            return;
        }
        self.columns.push(Column {
            time,
            low: value,
            high: value,
            after_gap,
        });
        if self.columns.len() > MOST {
            self.merge();
        }
    }

    fn merge(&mut self) {
        let first = self.columns.first().map_or(0.0, |column| column.time);
        let span = self.last.unwrap_or(first) - first;
        self.width = (self.width * 2.0).max(2.0 * span / MOST as f64);
        let mut merged: Vec<Column> = Vec::with_capacity(MOST);
        for column in self.columns.drain(..) {
            match merged.last_mut() {
                Some(last) if !column.after_gap && column.time - last.time < self.width => {
                    last.low = last.low.min(column.low);
                    last.high = last.high.max(column.high);
                }
                _ => merged.push(column),
            }
        }
        // Where nearly all is gap, every other column is as much as can be seen.
        if merged.len() > MOST {
            let mut number = 0_usize;
            merged.retain(|_| {
                number += 1;
                number.is_multiple_of(2)
            });
        }
        self.columns = merged;
    }

    pub(super) fn columns(&self) -> &[Column] {
        &self.columns
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_trace_keeps_its_peak_and_its_ends() {
        let mut thinned = Thinned::new(5.0);
        for number in 0..1_000_000_u32 {
            let value = if number == 654_321 {
                250.0
            } else {
                f64::from(number % 7)
            };
            thinned.take(f64::from(number) * 0.1, value);
        }
        let columns = thinned.columns();
        assert!(
            columns.len() <= MOST && columns.len() > MOST / 8,
            "{}",
            columns.len()
        );
        assert!(columns.iter().any(|column| column.high == 250.0));
        assert!(columns[columns.len() - 1].time > 99_000.0);
    }
}
