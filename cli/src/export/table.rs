//! What takes the rows of a table.

use inkdwell_daemon::table::Cell;

use crate::failure::Failure;

/// Takes rows as they come.
pub(crate) trait Rows {
    /// One more row; it has a cell for every column.
    fn row(&mut self, cells: Vec<Cell>) -> Result<(), Failure>;
}
