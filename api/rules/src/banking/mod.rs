//! A bank's statement held against the books.
//!
//! Words: a *line* is one movement as the bank wrote it, a *posting* one movement of the bank's account in the books; in
//! both, money in is above zero. A *proposal* says that some of one and some of the other are the same money. [`cells`]
//! reads what stands in a statement, [`chain`] holds its balances against one another, [`matching`] makes proposals. What must stay true: nothing is confirmed here, a
//! proposal's sums are equal to the cent, and every proposal says why in words.

pub mod cells;
pub mod chain;
pub mod matching;
