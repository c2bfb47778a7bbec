//! Floor 8: draws what it is given; never measures.
//!
//! [`ScreenState`] is everything that is drawn. A newer
//! [`LiveState`](crate::audio::analysis::LiveState) or an [`Action`] changes
//! it; an action comes from a key by one table ([`keys`]) and may ask for
//! [`Effect`]s, which [`run`] hands to its caller. [`draw`] turns the state
//! into cells and nothing else, so that everything but [`terminal`] is tested
//! without one.

mod canvas;
mod closing;
mod draw;
mod font;
mod guidance;
pub mod keys;
mod look;
mod panels;
mod pen;
mod press;
mod references;
mod run;
mod scale;
#[cfg(test)]
mod specimen;
mod state;
pub mod terminal;
#[cfg(test)]
mod tests;
mod verdict;
mod words;

pub use draw::draw;
pub use look::Look;
pub use press::press;
pub use run::{Ending, Outside, run};
pub use scale::ZoomingScale;
pub use state::action::Action;
pub use state::choosing::Choice;
pub use state::earlier::EarlierJobs;
pub use state::event::{Event, Ready};
pub use state::job::{Entrusted, OpenJob, SaveResult, Saved, Thing};
pub use state::lines::Lesson;
pub use state::listening::Listening;
pub use state::long_run::LongRun;
pub use state::overlay::Overlay;
pub use state::routine::{Mark, Routine, Step};
pub use state::runs::{PlannedRun, RunMark, Runs};
pub use state::ticks::TicksShown;
pub use state::view::View;
pub use state::{
    Effect, Entry, EntryFor, Kept, Lead, SMALLEST, ScreenState, Setup, Slot, SourceKind,
};
pub use terminal::{Terminal, TerminalError};
