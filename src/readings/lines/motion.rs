//! What a line's rate does when the speed is moved: parts go with it, and so
//! does what was recorded on the tape; mains ripple stays.

use crate::readings::wavering::{FlutterLine, LineMotion};

/// A smaller change of the speed tells nothing, as a logarithm.
const LEAST_MOVE: f64 = 0.003;

/// Lines of before and after may be the same where their rates differ by no
/// more than the speed and this, and their amplitudes by less than this factor.
/// A choice.
const ASIDE: f64 = 0.005;
const MOST_FACTOR: f64 = 2.0;

/// What slip and warmth do meanwhile, in parts of a rate. A choice.
const BESIDES: f64 = 2e-4;

/// Standard deviations within which two rates are one, and beyond which they
/// are two.
const ONE: f64 = 3.0;
const TWO: f64 = 5.0;

/// Lines as they stood before the speed was moved.
#[derive(Clone, Debug)]
pub struct Before {
    pub lines: Vec<FlutterLine>,
    pub mean_hz: f64,
}

/// Tells of each line what it did, where that can be told.
pub fn tell(lines: &mut [FlutterLine], mean_hz: f64, before: &Before) {
    let moved = (mean_hz / before.mean_hz).ln();
    for line in lines {
        let told = before.lines.iter().filter_map(|old| told(line, old, moved));
        // The nearest in amplitude.
        let nearest = told.min_by(|a, b| a.0.total_cmp(&b.0));
        if let (LineMotion::NotTold, Some((_, motion))) = (line.motion, nearest) {
            line.motion = motion;
        }
    }
}

/// How far the amplitudes differ, and what can be told.
fn told(line: &FlutterLine, old: &FlutterLine, moved: f64) -> Option<(f64, LineMotion)> {
    let changed = (line.hz.0 / old.hz.0).ln();
    let unlike = (line.peak.0 / old.peak.0).ln().abs();
    let between = [moved.min(0.0) - ASIDE, moved.max(0.0) + ASIDE];
    if unlike > MOST_FACTOR.ln() || !(between[0]..=between[1]).contains(&changed) {
        return None;
    }
    // From 95 % to standard deviations.
    let sd = |line: &FlutterLine| 0.5 * line.hz_uncertainty.0 / line.hz.0;
    let sd = sd(line).hypot(sd(old)).hypot(BESIDES);
    let (turned, kept) = ((changed - moved).abs(), changed.abs());
    let motion = if moved.abs() < LEAST_MOVE {
        old.motion
    } else if turned < ONE * sd && kept > TWO * sd {
        LineMotion::Turns
    } else if kept < ONE * sd && turned > TWO * sd {
        LineMotion::KeepsRate
    } else {
        old.motion
    };
    Some((unlike, motion))
}
