//! Passage and marks while they play.
//!
//! A passage is waited for: noise is what sounds before it, its first sound
//! starts the count, its last one ends it. The count only says when to look;
//! the length is measured on the whole record as in a recording. Marks are
//! measured over the newest seconds, so that a turn of the trimmer shows.

mod marks;
mod passage;

use std::sync::Arc;

use self::marks::LiveMarks;
use self::passage::LivePassage;
use crate::readings::caution::Caution;
use crate::readings::conditions::ReferenceKind;
use crate::readings::found::TapeIdent;
use crate::readings::measurement::{Keeping, Measurement, Progress};
use crate::readings::settings::{EngineError, KeepRequest, Settings};
use crate::readings::values::{SpeedReading, Steadiness};
use crate::units::{Percent, Seconds};

/// Settled: the ± is at most this part of the tolerance.
const SETTLED_PART: f64 = 0.5;

/// See the module.
pub enum LiveTimed {
    /// A passage.
    Passage(Box<LivePassage>),
    /// Marks.
    Marks(Box<LiveMarks>),
}

impl LiveTimed {
    /// For the passage or the marks that the settings name.
    pub fn new(settings: Settings, expected: Seconds) -> Result<Self, EngineError> {
        Ok(match settings.conditions.kind {
            ReferenceKind::Marks => Self::Marks(Box::new(LiveMarks::new(settings, expected)?)),
            _ => Self::Passage(Box::new(LivePassage::new(settings, expected)?)),
        })
    }

    /// Takes whole frames.
    pub fn push(&mut self, interleaved: &[f32]) {
        match self {
            Self::Passage(passage) => passage.push(interleaved),
            Self::Marks(marks) => marks.push(interleaved),
        }
    }

    /// The input broke: no time spans that.
    pub fn gap(&mut self) {
        match self {
            Self::Passage(passage) => passage.begin_anew(),
            Self::Marks(marks) => marks.begin_anew(),
        }
    }

    /// Keeps what comes next, or what has just been measured.
    pub fn keep(&mut self, request: KeepRequest) {
        match self {
            Self::Passage(passage) => passage.keep(),
            Self::Marks(marks) => marks.keep(request),
        }
    }

    /// Stops keeping, or forgets what was kept.
    pub fn forget_kept(&mut self) {
        match self {
            Self::Passage(passage) => passage.forget_kept(),
            Self::Marks(marks) => marks.forget_kept(),
        }
    }

    /// A passage begins or ends now, as somebody hears it.
    pub fn edge_by_hand(&mut self) {
        if let Self::Passage(passage) = self {
            passage.edge_by_hand();
        }
    }

    /// What is being kept.
    pub fn keeping(&self) -> Option<Keeping> {
        match self {
            Self::Passage(passage) => passage.keeping(),
            Self::Marks(marks) => marks.keeping(),
        }
    }

    /// The newest speed.
    pub fn speed(&self, tolerance: Percent) -> Option<SpeedReading> {
        match self {
            Self::Passage(passage) => passage.speed(tolerance),
            Self::Marks(marks) => marks.speed(tolerance),
        }
    }

    /// Nothing more will come.
    pub fn end_of_input(&mut self) {
        match self {
            Self::Passage(passage) => passage.end_of_input(),
            Self::Marks(marks) => marks.end_of_input(),
        }
    }

    /// What the tape has said of itself goes with what was kept of it.
    pub fn tell_ident(&mut self, ident: &TapeIdent) {
        let told = |measured: &Arc<Measurement>| {
            measured.ident.is_none().then(|| {
                let mut told = Measurement::clone(measured);
                told.tell_ident(ident.clone());
                told
            })
        };
        match self {
            Self::Passage(passage) => passage.change_kept(told),
            Self::Marks(marks) => marks.change_kept(told),
        }
    }

    /// How it stands.
    pub fn progress(&self) -> Progress {
        match self {
            Self::Passage(passage) => passage.progress(),
            Self::Marks(marks) => marks.progress(),
        }
    }
}

/// A measurement as it is shown live.
fn shown(
    measured: &Measurement,
    needle: Option<Percent>,
    over: Seconds,
    tolerance: Percent,
) -> Option<SpeedReading> {
    let speed = measured.speed?;
    let known = |part: f64| {
        speed
            .uncertainty
            .is_some_and(|own| own.0 <= part * tolerance.0)
    };
    Some(SpeedReading {
        deviation: speed.deviation,
        measured: None,
        uncertainty: speed.uncertainty,
        uncertainty_with_reference: speed.uncertainty_with_reference,
        scatter: speed.uncertainty,
        needle: needle.unwrap_or(speed.deviation),
        averaged: over,
        steadiness: if known(SETTLED_PART) {
            Steadiness::Settled
        } else {
            Steadiness::Settling
        },
        since_move: over,
    })
}

fn why(measurement: Option<&Arc<Measurement>>) -> Option<Caution> {
    let refused = measurement.filter(|it| it.speed.is_none())?;
    refused.cautions.first().cloned()
}
