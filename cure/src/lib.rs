//! What Inkdwell computes.
