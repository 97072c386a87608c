//! Why a line is not understood.

/// Why a line is not understood, in a sentence's second half: "not taken: ...". Nothing that a device wrote stands in
/// it, so that it can be shown as it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, thiserror::Error)]
pub enum Unclear {
    /// Bytes that no text has: so many of them.
    #[error("bytes of noise in it: {0}")]
    Noise(usize),
    /// Other than so many fields were named.
    #[error("it has {came} fields where {named} are named")]
    Fields {
        /// How many came.
        came: usize,
        /// How many names there are.
        named: usize,
    },
    /// A piece is neither `name=value` nor a unit behind one.
    #[error("a piece of it is no name=value")]
    NoPair,
    /// A name comes twice, as where two lines ran into one.
    #[error("a name comes twice in it")]
    NameTwice,
    /// A name is empty, or longer than names may be.
    #[error("a name in it is empty or too long")]
    UnfitName,
    /// There is nothing of what the format asks for.
    #[error("nothing in it is name=value")]
    NoPairs,
    /// It is no JSON object.
    #[error("it is no JSON object")]
    NoJson,
    /// A JSON object without a number, text or truth at its first level.
    #[error("no member of its first level is a number or a word")]
    NoMember,
    /// The pattern matches nowhere in it.
    #[error("the pattern does not match")]
    NoMatch,
}
