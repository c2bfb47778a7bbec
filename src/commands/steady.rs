//! A recording that is not all of one piece: what runs up, runs down or was
//! turned is left out, and each steady part is measured by itself, as with
//! `--from` and `--to`.

use std::path::Path;

use super::processor;
use super::stretch::{Source, Stretch, push_stretch};
use crate::audio::recording::Recording;
use crate::readings::{
    Caution, CautionCode, Cut, Measurement, ReferenceKind, SteadyParts, SteadyStretch, Target,
};
use crate::units::Seconds;

/// The measurement of the last steady part with a list of all, or `None` where
/// there is nothing to be left out. `stretch` is what was asked for.
pub(super) fn measured(
    whole: &Measurement,
    parts: &SteadyParts,
    source: Source<'_>,
    stretch: Stretch,
) -> Option<Measurement> {
    let Source { options, path, .. } = source;
    let checks = options.sweep || options.contact;
    let by_tone = options.reference.reference().kind() == ReferenceKind::Tone;
    let needless = checks || !by_tone || !whole.signal.usable || parts.is_whole();
    if needless || !can_be_read_again(path) {
        return None;
    }
    let mut recording = Recording::open_taking(path, options.reference.channel.pick()).ok()?;
    let format = recording.format();
    let frames = |seconds: f64| stretch.from + (seconds * f64::from(format.rate_hz)) as u64;
    let mut measured = Vec::new();
    for &[from_s, to_s] in &parts.steady_s {
        let mut processor = processor::of(options, format, &Target::Frequency).ok()?;
        let part = Stretch {
            // Nothing is lost where nothing is cut.
            from: if from_s > parts.heard_s[0] {
                frames(from_s)
            } else {
                stretch.from
            },
            to: if to_s < parts.heard_s[1] {
                frames(to_s)
            } else {
                stretch.to
            },
        };
        push_stretch(&mut recording, part, source.course, |samples, begins| {
            processor.push(&samples[begins..]);
        });
        let one = processor.measurement();
        if one.signal.usable && one.speed.is_some() {
            measured.push(([from_s, to_s], part.from - stretch.from, one));
        }
    }
    let moved = parts.steady_s.len() > 1 || parts.is_turned();
    let stretches = if moved {
        measured.iter().map(|(at, _, it)| listed(*at, it)).collect()
    } else {
        Vec::new()
    };
    let (at, skipped, mut part) = measured.pop()?;
    part.take_place_of(whole, Seconds(skipped as f64 / f64::from(format.rate_hz)));
    if moved {
        part.cautions
            .retain(|caution| caution.code() != CautionCode::SpeedMoved);
        let last = stretches.last().map(|last| [last.from, last.to]);
        part.cautions.push(Caution::MovedBefore(last));
    }
    let length = |run: Option<[f64; 2]>| Seconds(run.map_or(0.0, |[from, to]| to - from));
    part.cut = Some(Cut {
        from: Seconds(at[0]),
        to: Seconds(at[1]),
        run_up: length(parts.run_up_s),
        run_down: length(parts.run_down_s),
        stretches,
    });
    Some(part)
}

fn listed([from_s, to_s]: [f64; 2], of: &Measurement) -> SteadyStretch {
    let speed = of.speed.as_ref();
    SteadyStretch {
        from: Seconds(from_s),
        to: Seconds(to_s),
        deviation: speed.map_or_else(Default::default, |speed| speed.deviation),
        uncertainty: speed.and_then(|speed| speed.uncertainty),
        weighted_two_sigma: of.flutter.weighted_two_sigma,
        weighted_two_sigma_uncertainty: of.flutter.weighted_two_sigma_uncertainty,
    }
}

/// What comes through a pipe comes once; opened again it would be waited for
/// for ever.
pub(super) fn can_be_read_again(path: &Path) -> bool {
    path.metadata().is_ok_and(|it| it.is_file())
}
