//! One file a panel; each turns the state into the cells of its area and
//! changes nothing.

pub(super) mod bars;
pub(super) mod budget;
pub(super) mod card;
pub(super) mod causes;
pub(super) mod choosing;
pub(super) mod contact;
pub(super) mod digits;
pub(super) mod footer;
pub(super) mod health;
pub(super) mod help;
pub(super) mod job;
pub(super) mod lines;
pub(super) mod needle;
pub(super) mod news;
mod pages;
pub(super) mod say;
pub(super) mod strip;
pub(super) mod supply;
pub(super) mod title;
pub(super) mod trend;
mod trouble;
pub(super) mod verdict;
pub(super) mod wiper;
