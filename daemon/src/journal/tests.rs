//! Tests of the journal from within.
