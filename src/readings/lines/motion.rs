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
        let told = before.lines.iter().map(|old| told(line, old, moved));
        let mut told = told.filter(|&motion| motion != LineMotion::NotTold);
        let first = told.next();
        // Lines that it may have been and that tell otherwise leave it open.
        if let (LineMotion::NotTold, Some(motion)) = (line.motion, first)
            && told.all(|other| other == motion)
        {
            line.motion = motion;
        }
    }
}

/// What can be told if both are the same line.
fn told(line: &FlutterLine, old: &FlutterLine, moved: f64) -> LineMotion {
    let changed = (line.hz.0 / old.hz.0).ln();
    let unlike = (line.peak.0 / old.peak.0).ln().abs();
    let between = [moved.min(0.0) - ASIDE, moved.max(0.0) + ASIDE];
    if unlike > MOST_FACTOR.ln() || !(between[0]..=between[1]).contains(&changed) {
        return LineMotion::NotTold;
    }
    // From 95 % to standard deviations.
    let sd = |line: &FlutterLine| 0.5 * line.hz_uncertainty.0 / line.hz.0;
    let sd = sd(line).hypot(sd(old)).hypot(BESIDES);
    let (turned, kept) = ((changed - moved).abs(), changed.abs());
    if moved.abs() < LEAST_MOVE {
        old.motion
    } else if turned < ONE * sd && kept > TWO * sd {
        LineMotion::Turns
    } else if kept < ONE * sd && turned > TWO * sd {
        LineMotion::KeepsRate
    } else {
        old.motion
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Hertz, Percent};

    fn line(hz: f64, peak: f64) -> FlutterLine {
        FlutterLine {
            hz: Hertz(hz),
            hz_uncertainty: Hertz(0.002),
            peak: Percent(peak),
            peak_uncertainty: Percent(0.001),
            weighted_share: 0.3,
            motion: LineMotion::NotTold,
            course: None,
            chirp: None,
            windows: Vec::new(),
            parts: Vec::new(),
        }
    }

    #[test]
    fn lines_that_tell_otherwise_leave_it_open() {
        // 1 % faster: 12.12 may be what turned at 12, or what stays at 12.12.
        let told = |before: &[FlutterLine]| {
            let mut now = [line(12.12, 0.05)];
            let before = Before {
                lines: before.to_vec(),
                mean_hz: 3150.0,
            };
            tell(&mut now, 3181.5, &before);
            now[0].motion
        };
        let (turns, stays) = (line(12.0, 0.05), line(12.12, 0.04));
        assert_eq!(told(std::slice::from_ref(&turns)), LineMotion::Turns);
        assert_eq!(told(std::slice::from_ref(&stays)), LineMotion::KeepsRate);
        assert_eq!(told(&[turns.clone(), stays.clone()]), LineMotion::NotTold);
        assert_eq!(told(&[stays, turns]), LineMotion::NotTold);
        // 12.06 is neither.
        assert_eq!(told(&[line(12.06, 0.05)]), LineMotion::NotTold);
    }
}
