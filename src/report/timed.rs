//! What is said of a passage, of marks or of a recording where a tone would have its
//! frequency.

use super::words::counted;
use crate::readings::{Measurement, ReferenceKind};
use crate::units::Seconds;

/// What was measured of the reference itself, beside the cents; empty where
/// nothing was.
pub(super) fn found(measurement: &Measurement) -> String {
    let passage = measurement.passage.and_then(|it| Some((it, it.length?)));
    if let Some((passage, length)) = passage {
        return format!(", {length:.3} for {}", said(passage.expected));
    }
    let marks = measurement.marks.and_then(|it| Some((it, it.spacing?)));
    if let Some((marks, spacing)) = marks {
        return format!(", {spacing:.6} apart for {}", said(marks.nominal));
    }
    String::new()
}

/// Where the reference lies in the recording, a line of its own; empty where
/// it was not found.
pub(super) fn place(measurement: &Measurement) -> String {
    let ends = measurement
        .passage
        .and_then(|it| Some((it.start?, it.end?)));
    if let Some((start, end)) = ends {
        return format!("             first sound at {start:.2}, last sound at {end:.2}\n");
    }
    let copy = measurement.recording.and_then(|it| Some((it, it.at_copy?)));
    if let Some((found, at)) = copy {
        let residual = found.residual.map_or(0.0, |off| off.0 * 1000.0);
        return format!(
            "             begins at {at:.2} of the copy; {:.0} followed, {residual:.1} ms off the line\n",
            found.followed
        );
    }
    match measurement.marks {
        Some(marks) if marks.spacing.is_some() => {
            let found = counted(marks.found, "mark", "marks");
            format!("             {found} of {} found\n", marks.expected)
        }
        _ => String::new(),
    }
}

/// The first two lines of the budget: what each is called, and how it is
/// known; `None` for what comes from a spectrum and a track of speed.
pub(super) fn parts(kind: ReferenceKind) -> Option<[[&'static str; 2]; 2]> {
    match kind {
        ReferenceKind::Tone | ReferenceKind::Note => None,
        ReferenceKind::Passage => Some([
            ["edges of the passage", "from their steepness and the noise"],
            ["wow at both ends", "0.3 % at 0.5, 0.05 % at 0.1 Hz assumed"],
        ]),
        ReferenceKind::Marks => Some([
            ["noise of the arrivals", "from the signal, k = 1.96"],
            ["wow and scatter", "from this record"],
        ]),
        ReferenceKind::Recording => Some([
            [
                "noise of the places",
                "from how neighbours differ, k = 1.96",
            ],
            ["wow and scatter", "from this record"],
        ]),
    }
}

/// As somebody said it: no zeros at its end.
fn said(time: Seconds) -> String {
    format!("{} s", time.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{MarksFigures, PassageFigures};
    use crate::report::{FileReport, FileResult, budget, json, sample, text};

    fn report(measurement: &Measurement) -> FileReport<'_> {
        FileReport::of("side-a.wav", FileResult::Measured(measurement))
    }

    fn timed(kind: ReferenceKind) -> Measurement {
        let mut measurement = sample::without_frequency();
        measurement.conditions.kind = kind;
        measurement
    }

    fn passage() -> Measurement {
        Measurement {
            passage: Some(PassageFigures {
                start: Some(Seconds(1.504)),
                end: Some(Seconds(204.0)),
                length: Some(Seconds(202.496)),
                expected: Seconds(200.0),
            }),
            ..timed(ReferenceKind::Passage)
        }
    }

    fn marks() -> Measurement {
        Measurement {
            marks: Some(MarksFigures {
                found: 59,
                expected: 61,
                spacing: Some(Seconds(0.506_239)),
                nominal: Seconds(0.5),
            }),
            ..timed(ReferenceKind::Marks)
        }
    }

    #[test]
    fn a_passage_is_told_in_seconds() {
        let text = text::block(&report(&passage()));
        let expected = "\
  Speed      -1.232 ±0.012 %  SLOW, OUT BY THIS TAPE
             -21.5 cents, 202.496 s for 200 s
             first sound at 1.50 s, last sound at 204.00 s
             band ±0.5 % deck
  Signal     passage at -12.1 dBFS";
        assert!(text.contains(expected), "{text}");
        assert!(
            !text.contains("Flutter") && !text.contains("Drift"),
            "{text}"
        );
        let line = json::line(&report(&passage()));
        for part in [
            r#""reference":{"kind":"passage","hz":null,"#,
            r#""measured_hz":null,"deviation_percent":-1.2"#,
            r#""passage":{"start_s":1.504,"end_s":204.0,"length_s":202.496,"expected_s":200.0}"#,
        ] {
            assert!(line.contains(part), "{line}");
        }
    }

    #[test]
    fn marks_are_told_by_their_spacing() {
        let text = text::block(&report(&marks()));
        let expected = "\
             -21.5 cents, 0.506239 s apart for 0.5 s
             59 marks of 61 found
";
        assert!(text.contains(expected), "{text}");
        let line = json::line(&report(&marks()));
        let object = r#""marks":{"found":59,"expected":61,"spacing_s":0.506239}"#;
        assert!(line.contains(object), "{line}");
    }

    #[test]
    fn the_budget_says_how_each_part_is_known() {
        let text = budget::lines(&passage());
        assert!(
            text.contains("edges of the passage    ±0.00010 %"),
            "{text}"
        );
        assert!(text.contains("0.05 % at 0.1 Hz assumed"), "{text}");
        let text = budget::lines(&marks());
        assert!(text.contains("wow and scatter"), "{text}");
        assert!(text.contains("18 degrees of freedom"), "{text}");
    }

    #[test]
    fn what_was_not_found_shows_no_figure() {
        let mut nothing = passage();
        nothing.speed = None;
        nothing.passage = Some(PassageFigures {
            start: None,
            end: None,
            length: None,
            expected: Seconds(200.0),
        });
        let text = text::block(&report(&nothing));
        assert!(text.contains("Speed      not measured"), "{text}");
        assert!(!text.contains("first sound"), "{text}");
        assert!(json::line(&report(&nothing)).contains(r#""length_s":null,"expected_s":200.0"#));
    }
}
