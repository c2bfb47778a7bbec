//! What `tapewright clock` says, as text.

use std::fmt::Write as _;
use std::path::Path;

use jiff::tz::TimeZone;

use super::Measured;
use crate::audio::input::InputKnown;
use crate::records::{Against, ClockFigure, Clocks};
use crate::units::Ppm;

/// The result of a measurement. Writing to a string cannot fail.
pub(super) fn result(measured: &Measured) -> String {
    let mut text = String::new();
    let (error, uncertainty) = (measured.error, measured.uncertainty());
    let of = measured.input.as_ref().map_or_else(
        || "the recording".to_owned(),
        |input| format!("{} ({})", input.name, input.id),
    );
    let _ = writeln!(
        text,
        "Sample clock of {of}, {} Hz,\nagainst {}, over {:.0} s:",
        measured.rate_hz,
        against(&measured.against),
        measured.over.0
    );
    let _ = writeln!(
        text,
        "  {:+.2} ppm ±{:.2} ppm (95 %), {}",
        error.0,
        uncertainty.0,
        effect(error)
    );
    for note in &measured.notes {
        let _ = writeln!(text, "    {note}");
    }
    let _ = writeln!(
        text,
        "For recordings made through it:\n  --clock={:.2}±{:.2}",
        error.0, uncertainty.0
    );
    text
}

/// Where it was kept, and what to know about that.
pub(super) fn kept(input: &InputKnown, path: &Path) -> String {
    let mut text = format!(
        "Kept for {} in {}; tapewright watch applies it.\n",
        input.id,
        path.display()
    );
    if input.indirect {
        text.push_str(
            "Note: the system stands between this input and the hardware. The figure is that\n\
             of the hardware behind it now; where that changes, measure again, or use the\n\
             hardware's own id (tapewright inputs lists them).\n",
        );
    }
    text
}

/// All that is kept.
pub(super) fn list(clocks: &Clocks, zone: &TimeZone) -> String {
    if clocks.list().is_empty() {
        return format!(
            "No sample clock has been measured yet (nothing in {}).\nReadings count with ±100 ppm; tapewright clock measures.\n",
            clocks.path().display()
        );
    }
    let mut text = String::new();
    for figure in clocks.list() {
        text.push_str(&entry(figure, zone));
    }
    text
}

fn entry(figure: &ClockFigure, zone: &TimeZone) -> String {
    let when = figure.taken_at.to_zoned_datetime(zone.clone());
    format!(
        "{}\n  id      {}, at {} Hz\n  clock   {:+.2} ppm ±{:.2} ppm (95 %), {}\n  taken   {}, against {}, over {:.0} s\n",
        figure.name,
        figure.input,
        figure.rate_hz,
        figure.error.0,
        figure.uncertainty.0,
        effect(figure.error),
        when.strftime("%Y-%m-%d %H:%M"),
        against(&figure.against),
        figure.over.0
    )
}

fn effect(error: Ppm) -> String {
    let percent = error.percent().0.abs();
    if error.0 >= 0.0 {
        format!("fast: a true tone reads {percent:.4} % low")
    } else {
        format!("slow: a true tone reads {percent:.4} % high")
    }
}

fn against(against: &Against) -> String {
    match against {
        Against::SystemClock {
            uncertainty,
            disciplined,
        } => format!(
            "the system's {}clock (±{:.1} ppm)",
            if *disciplined { "disciplined " } else { "" },
            uncertainty.0
        ),
        Against::Tone {
            frequency,
            uncertainty,
            recorded,
        } => format!(
            "a {}tone of {frequency} (±{} ppm)",
            if *recorded { "recorded " } else { "" },
            uncertainty.0
        ),
    }
}
