//! What somebody asks of an engine that runs: another reference, a stretch to
//! be kept, a question.

use super::Engine;
use crate::readings::conditions::{Conditions, Nominal, ReferenceKind, USUAL_TONES};
use crate::readings::digits::Digits;
use crate::readings::guidance::Guide;
use crate::readings::holding::HoldCheck;
use crate::readings::judge::{self, CAPTURE};
use crate::readings::settings::{KeepRequest, Settings};
use crate::readings::target::Target;
use crate::readings::values::ToneState;
use crate::signal::tracker::Loss;
use crate::units::{Hertz, Percent};

impl Engine {
    /// Chooses another nominal tone; nothing measured so far is lost.
    pub fn set_nominal(&mut self, nominal: Nominal) {
        if self.settings.conditions.kind != ReferenceKind::Tone {
            // Usual tones are what is chosen from: other ears for them.
            let mut conditions = self.settings.conditions;
            conditions.kind = ReferenceKind::Tone;
            conditions.nominal = nominal;
            self.other_reference(conditions, Target::Frequency);
            return;
        }
        self.settings.conditions.nominal = nominal;
        self.wrong = None;
        self.keeper.disturbed();
        let was_following = self.tracker.is_following();
        let followed = self.digits.as_ref().filter(|_| was_following);
        let heard = followed.and_then(Digits::hz);
        self.nominal = match nominal {
            Nominal::Fixed(hz) | Nominal::Assumed(hz) => Some(hz),
            Nominal::Nearest => heard.map(|hz| judge::nearest_usual(Hertz(hz))),
        };
        // Its deviations were from another nominal.
        self.guide = Guide::new(self.digit_rate_hz());
        self.belief.chosen(self.nominal);
        self.set_ranges();
        if was_following && !self.tracker.is_following() {
            self.end_piece(Loss::Gone);
        }
        if !self.tracker.is_following() {
            self.tone = ToneState::Searching;
        }
    }

    /// Another speed or direction of the machine, with its own nominal tone:
    /// begins anew, since nothing that was learnt need hold there. Time goes
    /// on.
    pub fn other_run(&mut self, nominal: Nominal) {
        let conditions = Conditions {
            nominal,
            ..self.settings.conditions
        };
        self.other_reference(conditions, self.target.clone());
    }

    /// Another reference: begins anew, time goes on.
    pub fn other_reference(&mut self, conditions: Conditions, target: Target) {
        let settings = Settings {
            conditions,
            ..self.settings
        };
        // The format has been taken once already.
        let Ok(mut anew) = Self::by(settings, target) else {
            return;
        };
        anew.frames = self.frames;
        anew.skipped_s = self.frames as f64 / f64::from(settings.rate_hz);
        // The tape may be the same.
        anew.ident = self.ident.take();
        *self = anew;
    }

    /// Another tolerance band.
    pub fn set_tolerance(&mut self, tolerance: Percent) {
        self.settings.tolerance = tolerance;
    }

    /// Begins to keep a stretch; see [`Reading::keeping`](crate::readings::Reading::keeping).
    pub fn keep(&mut self, request: KeepRequest) {
        match &mut self.timed {
            Some(timed) => timed.keep(request),
            None => self.keeper.begin(request),
        }
    }

    /// A passage begins or ends now, as somebody hears it.
    pub fn edge_by_hand(&mut self) {
        if let Some(timed) = &mut self.timed {
            timed.edge_by_hand();
        }
    }

    /// The tool is taken away now: does the speed hold? See
    /// [`Reading::holding`](crate::readings::Reading::holding); there is no
    /// answer where the mean until now is not known.
    pub fn hands_off(&mut self) {
        // Digits outlive the tone that they were made of.
        let followed = self.digits.as_ref().filter(|_| self.is_shown());
        self.hold = followed.and_then(|digits| {
            let (mean, scatter) = digits.hz().zip(digits.scatter_hz())?;
            Some(HoldCheck::begin(digits.rate_hz(), mean, scatter.half_width))
        });
    }

    /// Forgets that question.
    pub fn hands_on(&mut self) {
        self.hold = None;
    }

    /// No more samples will come: a stretch that is being kept ends with what
    /// there is, if that is worth keeping.
    pub fn end_of_input(&mut self) {
        self.follow_flutter();
        if let Some(timed) = &mut self.timed {
            timed.end_of_input();
        }
        if let Some(stretch) = self.keeper.end() {
            let measurement = self.finished(&stretch);
            self.keeper.finish(measurement);
        }
    }

    /// Stops keeping, or forgets a stretch that is done.
    pub fn forget_kept(&mut self) {
        self.keeper.forget();
        if let Some(timed) = &mut self.timed {
            timed.forget_kept();
        }
    }

    pub(super) fn ranges_hz(&self) -> Vec<[f64; 2]> {
        self.nominal.map_or_else(usual_ranges_hz, |nominal| {
            vec![around(nominal, self.tracker.capture())]
        })
    }

    pub(super) fn set_ranges(&mut self) {
        self.tracker.set_ranges(self.ranges_hz());
    }
}

fn around(tone: Hertz, capture: [f64; 2]) -> [f64; 2] {
    [tone.0 * capture[0], tone.0 * capture[1]]
}

/// Where any of the usual tones may be.
pub(super) fn usual_ranges_hz() -> Vec<[f64; 2]> {
    USUAL_TONES.map(|tone| around(tone, CAPTURE)).to_vec()
}
