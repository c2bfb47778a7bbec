//! Marks over the newest seconds, so that a turn of the trimmer shows.

use std::sync::Arc;

use super::{shown, why};
use crate::readings::measurement::{Keeping, Measurement, Progress};
use crate::readings::settings::{EngineError, KeepRequest, Settings};
use crate::readings::timed::marks::MarksMeter;
use crate::readings::values::SpeedReading;
use crate::units::{Percent, Seconds};

/// Marks are measured over once to twice this, or over so many spacings.
const RECENT_S: f64 = 4.0;
const RECENT_SPACINGS: f64 = 4.0;

/// From look to look at the marks, and in spacings: what is kept of far ones is
/// long, and looking costs as much.
const LOOK_S: f64 = 0.5;
const LOOK_SPACINGS: f64 = 0.25;

/// Marks while they play.
pub struct LiveMarks {
    settings: Settings,
    spacing: Seconds,
    /// Begun one and two stretches ago at most.
    older: MarksMeter,
    newer: MarksMeter,
    older_s: f64,
    newer_s: f64,
    unlooked_s: f64,
    last: Option<Arc<Measurement>>,
    needle: Option<Arc<Measurement>>,
    collecting: Option<(KeepRequest, MarksMeter, f64)>,
    kept: Option<Arc<Measurement>>,
}

impl LiveMarks {
    pub fn new(settings: Settings, spacing: Seconds) -> Result<Self, EngineError> {
        Ok(Self {
            older: MarksMeter::new(settings, spacing)?,
            newer: MarksMeter::new(settings, spacing)?,
            settings,
            spacing,
            older_s: 0.0,
            newer_s: 0.0,
            unlooked_s: 0.0,
            last: None,
            needle: None,
            collecting: None,
            kept: None,
        })
    }

    fn fresh(&self) -> Option<MarksMeter> {
        // The format has been taken once already.
        MarksMeter::new(self.settings, self.spacing).ok()
    }

    /// Nothing heard before this moment counts.
    pub fn begin_anew(&mut self) {
        if let (Some(older), Some(newer)) = (self.fresh(), self.fresh()) {
            (self.older, self.newer) = (older, newer);
            (self.older_s, self.newer_s) = (0.0, 0.0);
        }
        (self.last, self.needle) = (None, None);
        if let Some((request, ..)) = self.collecting.take() {
            self.keep(request);
        }
    }

    /// Keeps a stretch from now on.
    pub fn keep(&mut self, request: KeepRequest) {
        self.kept = None;
        // A few marks make a speed, however far apart.
        let request = KeepRequest {
            at_least: Seconds(request.at_least.0.max(RECENT_SPACINGS * self.spacing.0)),
            at_most: Seconds(
                request
                    .at_most
                    .0
                    .max(2.0 * RECENT_SPACINGS * self.spacing.0),
            ),
        };
        self.collecting = self.fresh().map(|meter| (request, meter, 0.0));
    }

    /// Keeps nothing.
    pub fn forget_kept(&mut self) {
        (self.kept, self.collecting) = (None, None);
    }

    /// Speed over the newest seconds; the needle over the newest of them.
    pub fn speed(&self, tolerance: Percent) -> Option<SpeedReading> {
        let needle = self.needle.as_ref().and_then(|it| it.speed);
        let needle = needle.map(|speed| speed.deviation);
        shown(
            self.last.as_ref()?,
            needle,
            Seconds(self.older_s),
            tolerance,
        )
    }

    fn stretch_s(&self) -> f64 {
        RECENT_S.max(RECENT_SPACINGS * self.spacing.0)
    }

    /// Takes whole frames.
    pub fn push(&mut self, interleaved: &[f32]) {
        let rate = f64::from(self.settings.rate_hz) * f64::from(self.settings.channels);
        let each = (LOOK_S * f64::from(self.settings.rate_hz)) as usize
            * usize::from(self.settings.channels);
        for piece in interleaved.chunks(each) {
            let piece_s = piece.len() as f64 / rate;
            self.older.push(piece);
            self.newer.push(piece);
            self.older_s += piece_s;
            self.newer_s += piece_s;
            self.unlooked_s += piece_s;
            if let Some((_, meter, have_s)) = &mut self.collecting {
                meter.push(piece);
                *have_s += piece_s;
            }
            if self.unlooked_s >= LOOK_S.max(LOOK_SPACINGS * self.spacing.0) {
                self.unlooked_s = 0.0;
                self.look();
            }
        }
    }

    fn look(&mut self) {
        self.last = Some(Arc::new(self.older.measurement()));
        let newest = self.newer.measurement();
        self.needle = newest.speed.is_some().then(|| Arc::new(newest));
        if self.newer_s >= self.stretch_s()
            && let Some(fresh) = self.fresh()
        {
            self.older = std::mem::replace(&mut self.newer, fresh);
            self.older_s = self.newer_s;
            self.newer_s = 0.0;
        }
        if let Some((request, meter, have_s)) = &self.collecting
            && *have_s >= request.at_least.0
        {
            let measured = meter.measurement();
            // What cannot be read goes on being waited for.
            if measured.speed.is_some() {
                self.kept = Some(Arc::new(measured));
                self.collecting = None;
            } else if *have_s >= request.at_most.0 {
                self.collecting = self.fresh().map(|meter| (*request, meter, 0.0));
            }
        }
    }

    /// Nothing more will come: what there is counts, if it tells a speed.
    pub fn end_of_input(&mut self) {
        if let Some((_, meter, _)) = self.collecting.take() {
            let measured = meter.measurement();
            self.kept = measured.speed.is_some().then(|| Arc::new(measured));
        }
        self.look();
    }

    /// Changes what was kept, where something was.
    pub fn change_kept(&mut self, change: impl FnOnce(&Arc<Measurement>) -> Option<Measurement>) {
        if let Some(changed) = self.kept.as_ref().and_then(change) {
            self.kept = Some(Arc::new(changed));
        }
    }

    /// What is being kept.
    pub fn keeping(&self) -> Option<Keeping> {
        match (&self.kept, &self.collecting) {
            (Some(measured), _) => Some(Keeping::Done(Arc::clone(measured))),
            (None, Some((request, _, have_s))) => Some(Keeping::Averaging {
                have: Seconds(have_s.min(request.at_least.0)),
                want: request.at_least,
            }),
            (None, None) => None,
        }
    }

    /// How it stands.
    pub fn progress(&self) -> Progress {
        let figures = self.last.as_ref().and_then(|it| it.marks);
        Progress::Marks {
            found: figures.map_or(0, |figures| figures.found),
            spacing: self.spacing,
            refused: why(self.last.as_ref()),
        }
    }
}
