//! The meters of recordings: the engine itself, or what reads a recording as a
//! whole.

use std::sync::Arc;

use super::Engine;
use crate::readings::conditions::ReferenceKind;
use crate::readings::course::SteadyParts;
use crate::readings::matching::CopyMeter;
use crate::readings::measurement::Measurement;
use crate::readings::meter::Meter;
use crate::readings::settings::{EngineError, Settings};
use crate::readings::sweep::SweepReport;
use crate::readings::target::Target;
use crate::readings::timed::{MarksMeter, PassageMeter};

/// The one for a reference; `with_sweep`: the trimmer is turned meanwhile.
pub fn recorded(
    settings: Settings,
    target: &Target,
    with_sweep: bool,
) -> Result<Box<dyn Meter>, EngineError> {
    Ok(match target {
        Target::Copy(copy) => Box::new(CopyMeter::new(settings, Arc::clone(copy))?),
        Target::Time(spacing) if settings.conditions.kind == ReferenceKind::Marks => {
            Box::new(MarksMeter::new(settings, *spacing)?)
        }
        Target::Time(expected) => Box::new(PassageMeter::new(settings, *expected)?),
        Target::Frequency => {
            let mut engine = Engine::new(settings)?.without_readings();
            if with_sweep {
                engine.begin_sweep();
            }
            Box::new(engine)
        }
    })
}

impl Meter for Engine {
    fn push(&mut self, interleaved: &[f32]) {
        self.push(interleaved);
    }

    fn measurement(&self) -> Measurement {
        self.measurement()
    }

    fn parts(&self) -> Option<SteadyParts> {
        self.parts()
    }

    fn end_sweep(&mut self) -> Option<Arc<SweepReport>> {
        self.end_sweep()
    }
}
