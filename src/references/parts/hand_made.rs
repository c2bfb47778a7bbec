//! Lines made by hand, for tests.

use crate::readings::{FlutterLine, FlutterLines, LineMotion};
use crate::units::{Hertz, Percent, Seconds};

/// As the finder gives one of a minute, no more known of it.
pub fn line(hz: f64, peak_percent: f64) -> FlutterLine {
    FlutterLine {
        hz: Hertz(hz),
        hz_uncertainty: Hertz(0.001),
        peak: Percent(peak_percent),
        peak_uncertainty: Percent(0.002),
        weighted_share: 0.2,
        motion: LineMotion::NotTold,
        course: None,
        chirp: None,
        windows: Vec::new(),
        parts: Vec::new(),
    }
}

/// Lines of a minute.
pub fn together(lines: Vec<FlutterLine>) -> FlutterLines {
    FlutterLines {
        lines,
        seen: Seconds(60.0),
        reach: [Hertz(0.1), Hertz(200.0)],
        smallest: [0.009, 0.004, 0.001].map(|it| Some(Percent(it))),
        no_line_slow: 0.2,
        no_line_fast: 0.2,
        card: None,
        spectrum: [].into(),
    }
}
