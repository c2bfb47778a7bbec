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

/// What times a reference while it plays.
pub trait LiveTimed: Send {
    /// Takes whole frames.
    fn push(&mut self, interleaved: &[f32]);

    /// Nothing heard before this moment counts.
    fn begin_anew(&mut self);

    /// A passage begins or ends now, as somebody hears it; one that plays ends
    /// with it, however it began.
    fn edge_by_hand(&mut self) {}

    /// Nothing more will come.
    fn end_of_input(&mut self);

    /// The newest speed.
    fn speed(&self, tolerance: Percent) -> Option<SpeedReading>;

    /// How it stands.
    fn progress(&self) -> Progress;

    /// Keeps what comes next, or what has just been measured.
    fn keep(&mut self, request: KeepRequest);

    /// What is being kept.
    fn keeping(&self) -> Option<Keeping>;

    /// The same, to be changed.
    fn kept(&mut self) -> &mut Option<Keeping>;

    /// Stops keeping, or forgets what was kept.
    fn forget_kept(&mut self) {
        *self.kept() = None;
    }

    /// What the tape has said of itself goes with what was kept of it.
    fn tell_ident(&mut self, ident: TapeIdent) {
        if let Some(Keeping::Done(measured)) = self.kept()
            && measured.ident.is_none()
        {
            Arc::make_mut(measured).tell_ident(ident);
        }
    }
}

/// For the passage or the marks that the settings name.
pub fn live(settings: Settings, expected: Seconds) -> Result<Box<dyn LiveTimed>, EngineError> {
    Ok(match settings.conditions.kind {
        ReferenceKind::Marks => Box::new(LiveMarks::new(settings, expected)?),
        _ => Box::new(LivePassage::new(settings, expected)?),
    })
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
