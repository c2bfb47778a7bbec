//! Which part of a machine a line of flutter may come from: cards of parts,
//! their rates, and lines held against them.

mod attribution;
mod card;
mod generic;
#[cfg(test)]
pub mod hand_made;
mod learning;
mod naming;
mod part;
mod rates;

pub use attribution::{HeardAt, attribute};
pub use card::PartsCard;
pub use generic::generic;
pub use learning::NotLearnt;
pub use naming::{Naming, mains_of};
pub use part::{Part, ReelSide};
pub use rates::{Pack, PartRate};
