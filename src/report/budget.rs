//! The ± of a speed, line by line: what it is made of, how each part is
//! known, and the sum.

use std::fmt::Write as _;

use super::words::wrapped;
use super::{timed, words};
use crate::readings::{Measurement, SpeedFigures};
use crate::units::Percent;

/// A stated sum may be rounded by this part of it.
const SAME: f64 = 0.001;

/// The budget of a measurement, with its last line's end; empty where there
/// is no speed.
pub fn lines(measurement: &Measurement) -> String {
    let Some(speed) = &measurement.speed else {
        return String::new();
    };
    let mut text = String::from("  Budget of the speed's ±, each part for 95 %\n");
    for line in parts(measurement, speed) {
        add_line(&mut text, &line);
    }
    add_line(&mut text, &sum(speed));
    let has_frequency = measurement.conditions.kind.has_frequency();
    if let Some(worth) = measurement.worth().filter(|_| has_frequency) {
        let head = "    steadiness              ";
        text.push_str(&wrapped(head, &words::worth(&worth)));
    }
    text
}

/// The same, a row a part and the sum last: the part, its value, how it is
/// known. Empty where there is no speed.
pub(super) fn rows(measurement: &Measurement) -> Vec<[String; 3]> {
    let Some(speed) = &measurement.speed else {
        return Vec::new();
    };
    let lines = parts(measurement, speed).into_iter().chain([sum(speed)]);
    lines
        .map(|line| [line.name.to_owned(), line.value(), line.known])
        .collect()
}

/// What a line says: the part, its value, how it is known.
struct Line {
    name: &'static str,
    percent: Option<f64>,
    known: String,
}

impl Line {
    fn value(&self) -> String {
        let percent = self.percent;
        percent.map_or("not known".to_owned(), |percent| format!("±{percent:.5} %"))
    }
}

fn add_line(text: &mut String, line: &Line) {
    let value = line.value();
    let text_of_line = format!("    {:<24}{value:<13}{}", line.name, line.known);
    let _ = writeln!(text, "{}", text_of_line.trim_end());
}

fn parts(measurement: &Measurement, speed: &SpeedFigures) -> Vec<Line> {
    let of = |percent: Option<Percent>| percent.map(|percent| percent.0);
    let parts = &speed.parts;
    let reference = &measurement.conditions.reference;
    let tape = match (reference.home_made, parts.reference) {
        (true, _) => "home-made, common practice, taken as normal",
        (false, Some(_)) => "as given, taken as normal",
        (false, None) => "left out of the sum",
    };
    let [noise, wow] = timed::parts(measurement.conditions.kind).unwrap_or([
        ["noise of the signal", "from the spectrum, k = 1.96"],
        ["wow and flutter left in", "from this record"],
    ]);
    let partials = parts.partials.map(|partials| Line {
        name: "partials of the note",
        percent: Some(partials.0),
        known: "from how they lie to one another".into(),
    });
    let mut lines = vec![
        Line {
            name: noise[0],
            percent: of(parts.noise),
            known: parts
                .noise
                .map_or("no look at the spectrum yet", |_| noise[1])
                .into(),
        },
        Line {
            name: wow[0],
            percent: of(parts.wow),
            known: freedom_in_words(wow[1], parts.wow.and(parts.wow_freedom)),
        },
        Line {
            name: "sample clock",
            percent: Some(parts.clock.0),
            known: {
                let from = words::clock_source(measurement.conditions.clock.source);
                format!("{from}, taken as normal")
            },
        },
        Line {
            name: "the tape's own error",
            percent: of(parts.reference),
            known: tape.into(),
        },
    ];
    if let Some(partials) = partials {
        lines.insert(2, partials);
    }
    lines
}

fn freedom_in_words(known: &str, freedom: Option<f64>) -> String {
    freedom.map_or_else(
        || known.into(),
        |freedom| format!("{known}, {} degrees of freedom", rounded(freedom)),
    )
}

/// Beyond some hundreds nothing depends on how many they are.
fn rounded(freedom: f64) -> String {
    if freedom > 999.0 {
        "many".to_owned()
    } else {
        format!("{freedom:.0}")
    }
}

fn sum(speed: &SpeedFigures) -> Line {
    let (stated, all) = match speed.uncertainty_with_reference {
        Some(stated) => (Some(stated), speed.parts.sum_with_reference()),
        None => (speed.uncertainty, speed.parts.sum()),
    };
    // k belongs to a sum of these parts, and to no other.
    let known = stated
        .zip(all)
        .filter(|(stated, all)| (stated.0 - all.half_width).abs() <= SAME * all.half_width)
        .map_or_else(String::new, |(_, all)| {
            let factor = all.half_width / all.standard().max(f64::MIN_POSITIVE);
            let freedom = rounded(all.freedom);
            format!("k = {factor:.2}, {freedom} degrees of freedom")
        });
    Line {
        name: "sum",
        percent: stated.map(|percent| percent.0),
        known,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use crate::report::words::COLUMNS;

    #[test]
    fn every_part_is_said_then_the_sum_then_how_steady_it_is() {
        let text = lines(&sample::measurement());
        let expected = "  Budget of the speed's ±, each part for 95 %
    noise of the signal     ±0.00010 %   from the spectrum, k = 1.96
    wow and flutter left in ±0.00520 %   from this record, 18 degrees of freedom
    sample clock            ±0.01000 %   common practice, taken as normal
    the tape's own error    not known    left out of the sum
    sum                     ±0.01114 %   k = 1.96, 496 degrees of freedom
    steadiness              averages of 8 s change by 0.006 % from one to the
                            next (Allan deviation); longer ones gain nothing
";
        assert_eq!(text, expected);
    }

    #[test]
    fn the_sum_is_that_of_the_parts() {
        let speed = sample::measurement().speed.expect("a speed");
        let stated = speed.uncertainty.expect("a stated sum").0;
        let sum = speed.parts.sum().expect("known parts").half_width;
        assert!((stated - sum).abs() < 5e-7, "{stated}, {sum}");
    }

    #[test]
    fn a_known_tape_is_in_the_sum() {
        let mut measurement = sample::measurement();
        let speed = measurement.speed.as_mut().expect("a speed");
        speed.parts.reference = Some(Percent(0.3));
        let sum = speed.parts.sum_with_reference().expect("known parts");
        speed.uncertainty_with_reference = Some(Percent(sum.half_width));
        let text = lines(&measurement);
        assert!(
            text.contains("the tape's own error    ±0.30000 %"),
            "{text}"
        );
        assert!(
            text.contains("sum                     ±0.30021 %   k = 1.96, many degrees"),
            "{text}"
        );
        for line in text.lines() {
            assert!(line.chars().count() <= COLUMNS, "{line}");
        }
    }

    #[test]
    fn without_a_sum_there_is_no_k() {
        let mut measurement = sample::measurement();
        let speed = measurement.speed.as_mut().expect("a speed");
        speed.parts.noise = None;
        speed.uncertainty = None;
        let text = lines(&measurement);
        assert!(text.contains("noise of the signal     not known"), "{text}");
        assert!(
            text.contains("\n    sum                     not known\n"),
            "{text}"
        );
    }

    #[test]
    fn without_a_speed_there_is_no_budget() {
        assert_eq!(lines(&sample::without_tone()), "");
    }
}
