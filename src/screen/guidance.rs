//! Guidance in words, short enough to be read with one hand on the
//! screwdriver.

use super::look::Look;
use super::state::ScreenState;
use super::state::routine::Step;
use super::words::{signed, with_uncertainty};
use crate::readings::{Advice, Guidance};
use crate::units::Percent;

/// A turn of less than this many eighths is a hair.
const A_HAIR: f64 = 0.25;
/// Less than this part of the last turn is one, too.
const A_HAIR_OF_THE_LAST: f64 = 0.07;
/// More than this many eighths are not said one by one.
const MOST_EIGHTHS: f64 = 16.0;

impl ScreenState {
    /// The same while the trimmer is what is worked at; that the tape says nothing
    /// holds at every step.
    pub(super) fn guided(&self) -> Option<String> {
        let trims = self.routine.at() == Step::Trim && !self.routine.has_no_trimmer();
        self.guidance_words()
            .filter(|_| trims || self.is_recorded_here())
    }

    /// What to do at the trimmer, in a sentence; `None` while there is nothing
    /// to say.
    pub(super) fn guidance_words(&self) -> Option<String> {
        if !self.is_live() {
            return None;
        }
        let reading = self.reading()?;
        reading.speed.as_ref()?;
        if self.is_recorded_here() {
            return Some(
                "take a tape recorded elsewhere: this one reads right at any speed".to_owned(),
            );
        }
        if self.is_tone_open() {
            return Some("which tone first? press 1 or 2: it decides which way to turn".to_owned());
        }
        let guidance = &reading.guidance;
        if guidance.overshoots {
            return Some("STOP: this carries past right".to_owned());
        }
        if let Some(heading) = guidance.heading {
            return Some(format!("will settle at {} %", signed(heading.0, 2)));
        }
        let mut words = Vec::new();
        if guidance.expects_an_eighth {
            words.push("now turn an eighth clockwise, let go, wait (g cancels)".to_owned());
        } else if self.has_bad_wiper() && guidance.advice.is_some_and(names_a_turn) {
            words.push(NO_WAY_ON_A_BAD_WIPER.to_owned());
        } else {
            let said = guidance.advice.map(|it| match it {
                // Praise is the verdict's.
                Advice::Leave if !self.verdict().is_right() => Advice::Wait,
                other => other,
            });
            words.extend(said.map(|it| advice(self.look, it, guidance)));
        }
        if guidance.forgot {
            words.push("that turn behaved differently: learning anew".to_owned());
        }
        (!words.is_empty()).then(|| words.join("; "))
    }
}

/// What a wiper that jumps answers to a turn says nothing of the next one.
const NO_WAY_ON_A_BAD_WIPER: &str = "no direction: bad spot where the trimmer must stand (w)";

fn names_a_turn(advice: Advice) -> bool {
    !matches!(advice, Advice::Leave | Advice::Wait | Advice::AsNear)
}

fn advice(look: Look, advice: Advice, guidance: &Guidance) -> String {
    match advice {
        Advice::Leave => "right: leave it, take the tool away".to_owned(),
        Advice::Wait => "looks right: hands off, wait until it is sure".to_owned(),
        Advice::AsNear => "as near as tape and clock can tell: leave it".to_owned(),
        Advice::TryALittle => "turn a little, let go, wait (g first: then in eighths)".to_owned(),
        Advice::Eighths(eighths) => {
            let way = if eighths > 0.0 {
                "clockwise"
            } else {
                "anticlockwise"
            };
            let answer = guidance.an_eighth.map_or_else(String::new, |(by, known)| {
                let answer = with_uncertainty(look, by.0, Some(known));
                format!(" (an eighth: {answer} %)")
            });
            format!("turn {} {way}{answer}", eighths_in_words(eighths.abs()))
        }
        Advice::OfTheLast(share) => of_the_last(share, guidance.last_move),
    }
}

fn eighths_in_words(eighths: f64) -> String {
    if eighths < A_HAIR {
        return "a hair".to_owned();
    }
    if eighths > MOST_EIGHTHS {
        return "more than two turns".to_owned();
    }
    match eighths.round() as u32 {
        0 => "less than an eighth".to_owned(),
        1 => "about an eighth".to_owned(),
        2 => "about a quarter".to_owned(),
        4 => "about half a turn".to_owned(),
        8 => "about a whole turn".to_owned(),
        many => format!("about {many} eighths"),
    }
}

/// In parts of the turn that gave `by`, which nobody has measured. A hand may
/// have turned a hair since, so a hair is said by what it ought to do.
fn of_the_last(share: f64, by: Option<Percent>) -> String {
    let by = by.map_or(0.0, |by| by.0);
    if share.abs() < A_HAIR_OF_THE_LAST {
        let way = if share * by < 0.0 { "slower" } else { "faster" };
        return format!("a hair {way}");
    }
    let size = match share.abs() {
        size if size < 0.15 => "about a tenth of that turn".to_owned(),
        size if size < 0.4 => "about a third of that turn".to_owned(),
        size if size < 0.75 => "about half of that turn".to_owned(),
        size if size < 1.4 => "about as much".to_owned(),
        size if size < 8.0 => format!("about {size:.0} times as much"),
        _ => "much more".to_owned(),
    };
    let way = if share > 0.0 {
        "the same way again"
    } else {
        "back the other way"
    };
    format!("{way}, {size} (it gave {} %)", signed(by, 2))
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::readings::{SweepReport, SweepVerdict, Unclear};
    use crate::screen::specimen;

    fn said_at(deviation: f64, guidance: Guidance) -> String {
        let mut reading = specimen::reading(deviation);
        reading.guidance = guidance;
        specimen::showing(reading).guidance_words().unwrap()
    }

    fn said(guidance: Guidance) -> String {
        said_at(-2.0, guidance)
    }

    #[test]
    fn praise_stands_only_beside_a_verdict_that_praises() {
        let leave = || Guidance {
            advice: Some(Advice::Leave),
            ..Guidance::default()
        };
        assert!(said_at(0.1, leave()).contains("right: leave it"));
        assert!(said_at(-0.6, leave()).contains("wait until it is sure"));
    }

    #[test]
    fn each_advice_names_a_way_and_a_size() {
        let with = |advice| {
            said(Guidance {
                advice: Some(advice),
                an_eighth: Some((Percent(-0.9), Percent(0.3))),
                last_move: Some(Percent(-1.5)),
                ..Guidance::default()
            })
        };
        assert!(with(Advice::Eighths(2.1)).contains("about a quarter clockwise"));
        assert!(with(Advice::Eighths(-0.1)).contains("a hair anticlockwise"));
        assert!(with(Advice::OfTheLast(0.5)).contains("same way again, about half"));
        assert!(with(Advice::OfTheLast(-0.1)).contains("back the other way, about a tenth"));
        assert!(with(Advice::OfTheLast(-0.1)).contains("it gave -1.50 %"));
        assert!(with(Advice::OfTheLast(0.05)).contains("a hair slower"));
        assert!(with(Advice::OfTheLast(-0.05)).contains("a hair faster"));
        assert!(with(Advice::Wait).contains("wait until it is sure"));
        assert!(with(Advice::TryALittle).contains("let go, wait"));
    }

    #[test]
    fn a_bad_wiper_gets_no_direction_until_it_was_cleaned() {
        let mut reading = specimen::reading(-2.0);
        reading.guidance.advice = Some(Advice::OfTheLast(2.0));
        let mut state = specimen::showing(reading);
        let swept = |at| {
            let mut report = SweepReport::unclear(Unclear::NoTone);
            report.verdict = SweepVerdict::Erratic;
            report.bad_spots = vec![specimen::bad_spot(at)];
            Arc::new(report)
        };
        for (at, is_told) in [(0.3, false), (-4.0, true), (-1.0, false)] {
            let _ = state.take_sweep(&swept(at));
            let said = state.guidance_words().unwrap();
            assert_eq!(said.contains("the same way again"), is_told, "{said}");
            assert_eq!(said.contains("no direction"), !is_told, "{said}");
        }
        state.was_cleaned();
        assert!(state.guidance_words().unwrap().contains("same way again"));
    }

    #[test]
    fn an_overshoot_is_all_that_is_said() {
        let said = said(Guidance {
            heading: Some(Percent(1.2)),
            overshoots: true,
            advice: Some(Advice::Leave),
            ..Guidance::default()
        });
        assert_eq!(said, "STOP: this carries past right");
    }
}
