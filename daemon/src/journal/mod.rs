//! The journal: one SQLite file that holds everything that was seen and found.
