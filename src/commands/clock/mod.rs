//! `tapewright clock`: measures the sample clock of a sound input, and keeps
//! what is known of it.

mod against_system;
mod against_tone;
mod text;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::cli::ClockOptions;
use super::{Exit, Failure, Outcome, complain, no_folder};
use crate::audio::clock_run::RunError;
use crate::audio::input::InputKnown;
use crate::records::{Against, ClockFigure, Clocks, LinesError};
use crate::units::{Ppm, Seconds};

/// What a measurement gave, whatever it was made against.
struct Measured {
    /// `None` for a recording of which nobody said what it was made through.
    input: Option<InputKnown>,
    rate_hz: u32,
    error: Ppm,
    /// Of the measurement itself, 95 %.
    own: Ppm,
    against: Against,
    over: Seconds,
    /// Where the two parts of the ± come from, in words.
    notes: Vec<String>,
}

impl Measured {
    /// 95 %, with what it was measured against.
    fn uncertainty(&self) -> Ppm {
        let (Against::SystemClock { uncertainty, .. } | Against::Tone { uncertainty, .. }) =
            self.against;
        Ppm(self.own.0.hypot(uncertainty.0))
    }

    fn figure(&self, input: &InputKnown) -> ClockFigure {
        ClockFigure {
            input: input.id.clone(),
            name: input.name.clone(),
            rate_hz: self.rate_hz,
            error: self.error,
            uncertainty: self.uncertainty(),
            taken_at: Timestamp::now(),
            against: self.against,
            over: self.over,
        }
    }
}

pub(super) fn run(options: &ClockOptions) -> Outcome {
    // A file that cannot be used is told before five minutes have passed.
    let path = options.data.places().clocks().ok_or_else(no_folder)?;
    let (mut clocks, warnings) = Clocks::open(path).map_err(|error| unusable(&error))?;
    for warning in warnings {
        complain(&warning.to_string());
    }
    if options.list {
        super::say::write_words(&text::list(&clocks, &TimeZone::system()))?;
        return Ok(Exit::Done);
    }
    if let Some(input) = &options.forget {
        return forget(&mut clocks, input);
    }
    let measured = match (options.tone, &options.file) {
        (Some(_), Some(path)) => against_tone::of_recording(options, path)?,
        (Some(_), None) => against_tone::of_input(options)?,
        (None, _) => against_system::of_input(options)?,
    };
    let mut report = text::result(&measured);
    if let Some(input) = &measured.input {
        let warning = clocks.keep(measured.figure(input)).map_err(|error| {
            // What took minutes to measure is not lost with the disk.
            let _ = super::say::write_words(&report);
            unusable(&error)
        })?;
        if let Some(warning) = warning {
            complain(&warning.to_string());
        }
        report.push_str(&text::kept(input, clocks.path()));
    }
    super::say::write_words(&report)?;
    Ok(Exit::Done)
}

fn unusable(error: &LinesError) -> Failure {
    Failure::new(Exit::File, error.to_string())
}

fn forget(clocks: &mut Clocks, wanted: &str) -> Outcome {
    match ids_meant(clocks.list(), wanted).as_slice() {
        [id] => {
            let warning = clocks.forget(id).map_err(|error| unusable(&error))?;
            if let Some(warning) = warning {
                complain(&warning.to_string());
            }
            super::say::write_words(&format!(
                "Forgotten: {id}. Its readings count with ±100 ppm again.\n"
            ))?;
            Ok(Exit::Done)
        }
        [] => Err(Failure::new(
            Exit::Usage,
            format!(
                "nothing is kept for an input called \"{wanted}\"; tapewright clock --list shows what is"
            ),
        )),
        ids => Err(Failure::new(
            Exit::Usage,
            format!(
                "\"{wanted}\" could be more than one input; give the id of one of them: {}",
                ids.join(", ")
            ),
        )),
    }
}

/// Ids of the inputs that a name may mean, each once. An id means its own
/// input, whatever others are called.
fn ids_meant(figures: &[ClockFigure], wanted: &str) -> Vec<String> {
    if figures.iter().any(|figure| figure.input == wanted) {
        return vec![wanted.to_owned()];
    }
    let folded = wanted.to_lowercase();
    let mut ids: Vec<String> = figures
        .iter()
        .filter(|figure| figure.name.to_lowercase() == folded)
        .map(|figure| figure.input.clone())
        .collect();
    ids.sort();
    ids.dedup();
    ids
}

fn no_run(error: &RunError) -> Failure {
    Failure::new(Exit::Sound, error.to_string())
}
