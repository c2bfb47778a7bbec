//! What measures a recording: takes its samples, gives the measurement at the
//! end. One for each kind of reference.

use std::sync::Arc;

use super::cli::ReadOptions;
use crate::audio::source::StreamFormat;
use crate::readings::matching::{Copy, CopyMeter};
use crate::readings::timed::{MarksMeter, PassageMeter};
use crate::readings::{Engine, EngineError, Measurement, Parts, Settings, SweepReport};
use crate::references::Reference;

/// Takes the samples of one recording and measures them.
pub(super) trait Processor {
    /// Whole frames, in the order of the recording; blocks of any size.
    fn push(&mut self, samples: &[f32]);

    /// What came of everything pushed so far.
    fn measurement(&mut self) -> Measurement;

    /// The parts of it, where the speed was followed from moment to moment.
    fn parts(&self) -> Option<Parts> {
        None
    }

    /// The wiper check, where it was asked for and this reference can show it.
    fn end_sweep(&mut self) -> Option<Arc<SweepReport>> {
        None
    }
}

/// The one for the reference that was chosen; `copy` is that of a recording.
pub(super) fn of(
    options: &ReadOptions,
    format: StreamFormat,
    copy: Option<&Arc<Copy>>,
) -> Result<Box<dyn Processor>, EngineError> {
    let settings = Settings {
        rate_hz: format.rate_hz,
        channels: format.channels,
        choice: options.reference.choice(),
        conditions: options.reference.conditions(options.machine.as_deref()),
        // Decides when live digits count as settled; a recording is read whole.
        tolerance: options.tolerance.half_width,
    };
    Ok(match (options.reference.reference(), copy) {
        (_, Some(copy)) => Box::new(CopyMeter::new(settings, Arc::clone(copy))?),
        (Reference::Passage(expected), None) => Box::new(PassageMeter::new(settings, expected)?),
        (Reference::Marks(spacing), None) => Box::new(MarksMeter::new(settings, spacing)?),
        // A recording never comes without its copy.
        (
            Reference::Tone(_)
            | Reference::ToneAuto
            | Reference::Note(..)
            | Reference::Recording(_),
            None,
        ) => {
            let mut engine = Engine::new(settings)?.without_readings();
            if options.sweep {
                engine.begin_sweep();
            }
            Box::new(engine)
        }
    })
}

impl Processor for PassageMeter {
    fn push(&mut self, samples: &[f32]) {
        Self::push(self, samples);
    }

    fn measurement(&mut self) -> Measurement {
        Self::measurement(self)
    }
}

impl Processor for MarksMeter {
    fn push(&mut self, samples: &[f32]) {
        Self::push(self, samples);
    }

    fn measurement(&mut self) -> Measurement {
        Self::measurement(self)
    }
}

impl Processor for CopyMeter {
    fn push(&mut self, samples: &[f32]) {
        Self::push(self, samples);
    }

    fn measurement(&mut self) -> Measurement {
        Self::measurement(self)
    }
}

impl Processor for Engine {
    fn push(&mut self, samples: &[f32]) {
        Self::push(self, samples);
    }

    fn measurement(&mut self) -> Measurement {
        Self::measurement(self)
    }

    fn parts(&self) -> Option<Parts> {
        Self::parts(self)
    }

    fn end_sweep(&mut self) -> Option<Arc<SweepReport>> {
        Self::end_sweep(self)
    }
}
