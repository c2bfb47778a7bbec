//! What happens outside of the screen, and what it does to it.

use std::sync::Arc;

use super::choosing::Choice;
use super::earlier::EarlierJobs;
use super::job::{OpenJob, SaveResult};
use super::{Effect, ScreenState};
use crate::audio::analysis::{LiveState, Request};
use crate::audio::rehearsal_source::BenchStatus;
use crate::readings::{Conditions, Target};
use crate::references::parts::PartsCard;

/// A reference made ready, with what it is measured by; or why it is not.
pub type Ready = Result<(Conditions, Choice, Target), String>;

/// What happens outside.
pub enum Event {
    /// The newest of the analysis.
    Live(Arc<LiveState>),
    /// How the simulated machine stands.
    Bench(Option<BenchStatus>),
    /// What was entrusted under this number was saved; or why it could not be.
    Saved(u32, Box<SaveResult>),
    /// Earlier jobs were found.
    Earlier(Box<EarlierJobs>),
    /// Another job was opened; or why it could not be.
    Opened(Box<Result<OpenJob, String>>),
    /// A sentence for whoever sits here.
    Said(String),
    /// The card with the part that was learnt, and where it lies now; or why it
    /// does not.
    Learnt(Box<Result<(PartsCard, String), String>>),
    /// What became of a reference that was chosen.
    Reference(Box<Ready>),
}

impl Event {
    /// It says what the screen knows.
    pub(in crate::screen) fn is_known(&self, state: &ScreenState) -> bool {
        match self {
            Self::Live(live) => {
                live.sequence == state.live.sequence && live.source == state.live.source
            }
            Self::Bench(bench) => *bench == state.bench,
            Self::Saved(..)
            | Self::Earlier(_)
            | Self::Opened(_)
            | Self::Learnt(_)
            | Self::Said(_)
            | Self::Reference(_) => false,
        }
    }
}

impl ScreenState {
    /// Takes what has happened.
    pub fn update(&mut self, event: Event) -> Vec<Effect> {
        match event {
            Event::Live(live) => self.take(live),
            Event::Bench(bench) => self.take_bench(bench),
            Event::Saved(number, result) => self.saved(number, *result),
            Event::Earlier(found) => {
                self.take_earlier(*found);
                Vec::new()
            }
            Event::Opened(opened) => self.job_opened(*opened),
            Event::Said(sentence) => self.say(sentence),
            Event::Learnt(result) => {
                self.learnt(*result);
                Vec::new()
            }
            Event::Reference(ready) => self.reference_ready(*ready),
        }
    }

    fn reference_ready(&mut self, ready: Ready) -> Vec<Effect> {
        let ready = if self.is_checking() {
            Err("a check was begun meanwhile; choose again after it".to_owned())
        } else {
            ready
        };
        match ready {
            Ok((conditions, choice, target)) => {
                self.reference_taken(Ok((conditions, choice)));
                vec![Effect::Ask(Request::Reference(conditions, target))]
            }
            Err(reason) => {
                self.reference_taken(Err(reason));
                Vec::new()
            }
        }
    }
}
