//! Floor 8: draws what it is given; never measures.
//!
//! [`ScreenState`] is everything that is drawn. A newer
//! [`LiveState`](crate::audio::analysis::LiveState) or an [`Action`] changes
//! it; an action comes from a key by one table ([`keys`]) and may ask for
//! [`Effect`]s, which [`run`] hands to its caller. [`draw`] turns the state
//! into cells and nothing else, so that everything but [`terminal`] is tested
//! without one.

mod actions;
mod canvas;
mod choosing;
mod contact;
mod draw;
mod font;
mod guidance;
mod heard;
mod ident;
pub mod keys;
mod listening;
mod long_run;
mod look;
mod overlay;
mod panels;
mod pen;
mod references;
mod routine;
mod run;
mod runs;
mod scale;
#[cfg(test)]
mod specimen;
mod state;
pub mod terminal;
#[cfg(test)]
mod tests;
mod ticks;
mod verdict;
mod view;
mod wiper;
mod words;

pub use actions::Action;
pub use choosing::Choice;
pub use draw::{SMALLEST, draw};
pub use listening::Listening;
pub use long_run::LongRun;
pub use look::Look;
pub use overlay::Overlay;
pub use routine::{Mark, Routine, Step};
pub use run::{Ending, Outside, run};
pub use runs::{PlannedRun, RunMark, Runs};
pub use scale::ZoomingScale;
pub use state::{Effect, Entry, EntryFor, Kept, Lead, ScreenState, Setup, Slot, SourceKind};
pub use terminal::{Terminal, TerminalError};
pub use ticks::TicksShown;
pub use view::View;
