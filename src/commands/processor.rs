//! The meter of a recording, as the options ask for it.

use super::cli::ReadOptions;
use crate::audio::source::StreamFormat;
use crate::readings::{EngineError, Meter, Settings, Target, recorded};

pub(super) fn of(
    options: &ReadOptions,
    format: StreamFormat,
    target: &Target,
) -> Result<Box<dyn Meter>, EngineError> {
    let settings = Settings {
        rate_hz: format.rate_hz,
        channels: format.channels,
        choice: options.reference.choice(),
        conditions: options.reference.conditions(options.machine.as_deref()),
        // Decides when live digits count as settled; a recording is read whole.
        tolerance: options.tolerance.half_width,
    };
    recorded(settings, target, options.sweep)
}
