//! Alarms in the keeper and the journal: what people do with them is recorded with who and why, and a crash
//! anywhere leaves every alarm as it was.

mod another_version;
mod crashes;
mod people;
mod shop;
mod torn_off;
