//! Acceptance tests of Inkdwell; the tests themselves stand beside this manifest.
