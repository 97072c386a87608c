//! Recipes, calibrations and events.

use rusqlite::params_from_iter;

use super::super::fault::ReadError;
use super::super::number::RecordNumber;
use super::super::reader::Reader;
use super::passes::body;
use super::{Where, odd};
use crate::record::{Calibrated, Occurred, RecipeLocked, RecipeRetired, Record};
use crate::time::Micros;

/// A recipe as it is known now.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptRecipe {
    /// How it was locked.
    pub recipe: RecipeLocked,
    /// When.
    pub locked: Micros,
    /// How and when it was retired, if it was.
    pub retired: Option<(Micros, RecipeRetired)>,
}

/// A calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptCalibration {
    /// What was found.
    pub calibration: Calibrated,
    /// When it was entered.
    pub at: Micros,
}

/// An event.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptEvent {
    /// Its record.
    pub record: RecordNumber,
    /// When it happened.
    pub at: Micros,
    /// What.
    pub event: Occurred,
}

impl Reader {
    /// The recipes that are in force.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn recipes_in_force(&self) -> Result<Vec<KeptRecipe>, ReadError> {
        let mut condition = Where::default();
        condition.sql.push("recipe.retired IS NULL".to_owned());
        self.recipes_where(&condition)
    }

    /// All recipes.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn recipes(&self) -> Result<Vec<KeptRecipe>, ReadError> {
        self.recipes_where(&Where::default())
    }

    /// One recipe.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn recipe(&self, number: u64) -> Result<Option<KeptRecipe>, ReadError> {
        let mut condition = Where::default();
        condition.number("recipe.number = ?", number);
        Ok(self.recipes_where(&condition)?.pop())
    }

    fn recipes_where(&self, condition: &Where) -> Result<Vec<KeptRecipe>, ReadError> {
        let sql = format!(
            "SELECT locked.number, locked.at, locked.body, retired.number, retired.at, retired.body
             FROM recipe
             JOIN record AS locked ON locked.number = recipe.record
             LEFT JOIN record AS retired ON retired.number = recipe.retired
             WHERE {} ORDER BY recipe.number",
            condition.written()
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut rows = statement.query(params_from_iter(&condition.values))?;
        let mut recipes = Vec::new();
        while let Some(row) = rows.next()? {
            let number: RecordNumber = row.get(0)?;
            let Record::RecipeLocked(recipe) = body(row, 2, number)? else {
                return Err(odd(number));
            };
            let retired = match row.get::<_, Option<RecordNumber>>(3)? {
                None => None,
                Some(number) => {
                    let Record::RecipeRetired(retired) = body(row, 5, number)? else {
                        return Err(odd(number));
                    };
                    Some((Micros(row.get(4)?), retired))
                }
            };
            recipes.push(KeptRecipe {
                recipe,
                locked: Micros(row.get(1)?),
                retired,
            });
        }
        Ok(recipes)
    }

    /// Calibrations in the order in which they were entered, of one probe or of all.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn calibrations(&self, probe: Option<&str>) -> Result<Vec<KeptCalibration>, ReadError> {
        let mut statement = self.connection.prepare_cached(
            "SELECT record.number, record.at, record.body
             FROM calibration JOIN record ON record.number = calibration.record
             WHERE ?1 IS NULL OR calibration.probe = ?1 ORDER BY record.number",
        )?;
        let mut rows = statement.query([probe])?;
        let mut calibrations = Vec::new();
        while let Some(row) = rows.next()? {
            let number: RecordNumber = row.get(0)?;
            let Record::Calibrated(calibration) = body(row, 2, number)? else {
                return Err(odd(number));
            };
            calibrations.push(KeptCalibration {
                calibration,
                at: Micros(row.get(1)?),
            });
        }
        Ok(calibrations)
    }

    /// Events from one time to before another, in the order of their times.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn events(&self, from: Micros, before: Micros) -> Result<Vec<KeptEvent>, ReadError> {
        let mut condition = Where::default();
        condition.and("event.at >= ?", from.0);
        condition.and("event.at < ?", before.0);
        self.events_where(&condition, "event.at, event.record")
    }

    /// The newest events, newest first.
    ///
    /// # Errors
    /// When the journal cannot be read.
    pub fn newest_events(&self, most: u64) -> Result<Vec<KeptEvent>, ReadError> {
        let order = format!("event.at DESC, event.record DESC LIMIT {most}");
        self.events_where(&Where::default(), &order)
    }

    fn events_where(&self, condition: &Where, order: &str) -> Result<Vec<KeptEvent>, ReadError> {
        let sql = format!(
            "SELECT record.number, record.at, record.body
             FROM event JOIN record ON record.number = event.record
             WHERE {} ORDER BY {order}",
            condition.written()
        );
        let mut statement = self.connection.prepare_cached(&sql)?;
        let mut rows = statement.query(params_from_iter(&condition.values))?;
        let mut events = Vec::new();
        while let Some(row) = rows.next()? {
            let record: RecordNumber = row.get(0)?;
            let Record::Occurred(event) = body(row, 2, record)? else {
                return Err(odd(record));
            };
            events.push(KeptEvent {
                record,
                at: Micros(row.get(1)?),
                event,
            });
        }
        Ok(events)
    }
}
