//! What may be said of the speed on screen.

use super::state::ScreenState;
use crate::readings::{Problem, Verdict, Way};

impl ScreenState {
    /// What may be said about the tolerance.
    pub fn verdict(&self) -> Verdict {
        let Some(speed) = self.reading().and_then(|reading| reading.speed.as_ref()) else {
            return Verdict::NoReading;
        };
        let verdict = Verdict::of_live(speed, self.tolerance.half_width);
        if self.is_recorded_here() {
            verdict.of_a_tape_made_here()
        } else if self.is_tone_open() {
            Verdict::WhichTone
        } else {
            verdict
        }
    }

    /// Slow or fast, where either may be said.
    pub(super) fn way(&self) -> Option<Way> {
        if self.is_recorded_here() || self.is_tone_open() {
            return None;
        }
        let speed = self.reading()?.speed.as_ref()?;
        self.verdict().way(speed.deviation, speed.uncertainty)
    }

    /// Nobody has said which tone the tape carries, and two are possible.
    pub(super) fn is_tone_open(&self) -> bool {
        self.problems()
            .any(|problem| matches!(problem, Problem::Ambiguous { .. }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{Caution, CautionCode, Measurement, Nominal, Reading, Steadiness};
    use crate::records::{Direction, Label, Run, Snapshot};
    use crate::references::Tolerance;
    use crate::report::{FileReport, FileResult, comparison, json, text};
    use crate::screen::{Action, PlannedRun, Runs, specimen};
    use crate::signal::rhythm::Beat;
    use crate::units::{Hertz, Percent};
    use jiff::tz::TimeZone;
    use rand_pcg::rand_core::{Rng, SeedableRng};

    /// The same speed, as it is read live and as it is measured.
    struct Case {
        deviation: f64,
        own: Option<f64>,
        with_reference: Option<f64>,
        steadiness: Steadiness,
        is_open: bool,
        is_made_here: bool,
    }

    fn draw(dice: &mut rand_pcg::Pcg64) -> Case {
        let mut unit = || f64::from(dice.next_u32()) / f64::from(u32::MAX);
        let deviation = 10f64.powf(-3.0 + 4.0 * unit()) * if unit() < 0.5 { -1.0 } else { 1.0 };
        let own = (unit() < 0.9).then_some(10f64.powf(-3.0 + 3.5 * unit()));
        let is_declared = unit() < 0.5;
        let tape = 10f64.powf(-2.0 + 3.0 * unit());
        Case {
            deviation,
            own,
            with_reference: own.filter(|_| is_declared).map(|own| own.hypot(tape)),
            steadiness: match (unit() * 4.0) as u32 {
                0 => Steadiness::Moving,
                1 => Steadiness::Settling,
                _ => Steadiness::Settled,
            },
            is_open: unit() < 0.15,
            is_made_here: unit() < 0.1,
        }
    }

    fn live(case: &Case) -> Reading {
        let mut reading = specimen::reading(case.deviation);
        let speed = reading.speed.as_mut().unwrap();
        speed.deviation = Percent(case.deviation);
        speed.uncertainty = case.own.map(Percent);
        speed.uncertainty_with_reference = case.with_reference.map(Percent);
        speed.steadiness = case.steadiness;
        if case.is_open {
            reading.signal.problems = vec![specimen::ambiguous()];
        }
        reading
    }

    fn on_screen(case: &Case, band: Tolerance) -> ScreenState {
        let mut state = specimen::showing(live(case));
        state.tolerance = band;
        if case.is_open {
            state.conditions.nominal = Nominal::Assumed(Hertz(3150.0));
        }
        if case.is_made_here {
            state.machine = Some("deck 2".to_owned());
            state.recorded_on = state.machine.clone();
        }
        state
    }

    fn measured(case: &Case) -> Measurement {
        let mut measurement = specimen::measurement(case.deviation);
        measurement.cautions.clear();
        let speed = measurement.speed.as_mut().unwrap();
        speed.deviation = Percent(case.deviation);
        speed.uncertainty = case.own.map(Percent);
        speed.uncertainty_with_reference = case.with_reference.map(Percent);
        measurement.conditions.reference.recorded_here = case.is_made_here;
        let mut say = |code| measurement.cautions.push(Caution::told(code, ""));
        if case.is_open {
            say(CautionCode::ReferenceAmbiguous);
        }
        if case.steadiness == Steadiness::Moving {
            say(CautionCode::SpeedMoved);
        }
        measurement
    }

    /// What each of them says, in its own form.
    fn in_reports(case: &Case, band: Tolerance) -> [String; 3] {
        let measurement = measured(case);
        let report = FileReport {
            file: "a.wav",
            result: FileResult::Measured(&measurement),
            tolerance: band,
            tape: None,
            parts: None,
            sweep: None,
            contact: None,
        };
        let mut snapshot = Snapshot::new(Label::Before, "line in", measurement.clone());
        snapshot.tolerance = Some(band.half_width);
        let numbered = (1, &snapshot);
        [
            text::block(&report),
            json::line(&report),
            comparison::side_by_side(numbered, numbered, &TimeZone::UTC),
        ]
    }

    /// What a record cannot be: it has no settling, only too short a stretch.
    fn as_a_record(verdict: Verdict, case: &Case, band: Tolerance) -> Verdict {
        match (verdict, case.own) {
            (Verdict::Moving | Verdict::Settling, _) if case.is_made_here => Verdict::MadeHere,
            (Verdict::Moving, _) => Verdict::Moved,
            (Verdict::Settling, None) => Verdict::TooShort,
            (Verdict::Settling, Some(_)) => {
                let case = Case {
                    steadiness: Steadiness::Settled,
                    ..*case
                };
                on_screen(&case, band).verdict()
            }
            (other, _) => other,
        }
    }

    #[test]
    fn a_tape_that_says_nothing_is_neither_slow_nor_fast() {
        for steadiness in [
            Steadiness::Moving,
            Steadiness::Settling,
            Steadiness::Settled,
        ] {
            for (is_open, is_made_here) in [(true, false), (false, true), (true, true)] {
                let case = Case {
                    deviation: -3.0,
                    own: Some(0.1),
                    with_reference: None,
                    steadiness,
                    is_open,
                    is_made_here,
                };
                let state = on_screen(&case, Tolerance::default());
                assert_eq!(state.way(), None, "{:?}", state.verdict());
            }
        }
    }

    #[test]
    fn screen_recordings_records_and_ticks_say_the_same() {
        let mut dice = rand_pcg::Pcg64::seed_from_u64(16);
        let mut seen = std::collections::BTreeSet::new();
        for _ in 0..4000 {
            let case = draw(&mut dice);
            let half_width = [0.1, 0.25, 0.5, 1.0][(dice.next_u32() % 4) as usize];
            let band = Tolerance::of_half_width(Percent(half_width));
            let mut state = on_screen(&case, band);
            let shown = state.verdict();
            let expected = as_a_record(shown, &case, band);
            seen.insert(format!("{expected:?}"));
            let [text, json, compared] = in_reports(&case, band);
            let said = |text: &str| text.contains(expected.words());
            let name = serde_json::to_value(expected).unwrap();
            let object: serde_json::Value = serde_json::from_str(&json).unwrap();
            assert!(said(&text), "{expected:?}: {text}");
            assert!(said(&compared), "{expected:?}: {compared}");
            assert_eq!(object["speed"]["verdict"], name, "{expected:?}");
            // No word of the way where none may be said.
            if shown == expected && state.way().is_none() {
                assert!(!text.contains("SLOW") && !text.contains("FAST"), "{text}");
            }
            // Never more than is known, by the definitions themselves.
            let off = case.deviation.abs();
            let stated = case.with_reference.or(case.own).unwrap_or(f64::INFINITY);
            if shown.is_right() {
                assert!(off + stated <= half_width && case.steadiness == Steadiness::Settled);
                assert_eq!(shown == Verdict::InTolerance, case.with_reference.is_some());
            }
            if shown.is_out() {
                assert!(off - stated > half_width);
            }
            if shown == Verdict::Out && case.with_reference.is_none() {
                assert!(off - 3.0 > half_width);
            }
            state.ticks = Some(crate::screen::TicksShown::default());
            let (beat, _) = state.follow_ticks(false);
            assert_eq!(beat == Beat::Settled, shown.is_right(), "{shown:?}");
        }
        assert_eq!(seen.len(), 9, "{seen:?}");
    }

    #[test]
    fn a_quarter_of_a_percent_in_a_band_of_half_a_percent_is_right_everywhere() {
        let case = Case {
            deviation: -0.28,
            own: Some(0.01),
            with_reference: None,
            steadiness: Steadiness::Settled,
            is_open: false,
            is_made_here: false,
        };
        let band = Tolerance::default();
        assert_eq!(
            on_screen(&case, band).verdict().words(),
            "RIGHT BY THIS TAPE"
        );
        let [text, json, compared] = in_reports(&case, band);
        assert!(
            text.contains("-0.280 ±0.010 %  RIGHT BY THIS TAPE"),
            "{text}"
        );
        assert!(text.contains("band ±0.5 % deck"), "{text}");
        assert!(!text.contains("SLOW"), "{text}");
        assert!(json.contains(r#""verdict":"right_by_this_tape""#), "{json}");
        assert!(compared.contains("-0.280 ±0.010  "), "{compared}");
        assert!(
            compared.contains("RIGHT BY THIS TAPE → RIGHT"),
            "{compared}"
        );
    }

    /// Each speed has its tape: the answer for one is none for another.
    #[test]
    fn an_answer_belongs_to_its_run() {
        let assumed = Nominal::Assumed(Hertz(3150.0));
        let mut state = specimen::asking(-3.0);
        state.conditions.nominal = assumed;
        let planned = |direction| PlannedRun {
            run: Run {
                speed_cm_s: Some(9.53),
                direction: Some(direction),
            },
            nominal: assumed,
        };
        state.runs = Runs::new([Direction::Forward, Direction::Reverse].map(planned));
        assert_eq!(state.verdict(), Verdict::WhichTone);
        let _ = state.act(Action::ChooseTone(1));
        assert_ne!(state.verdict(), Verdict::WhichTone);
        let _ = state.switch_run(1);
        assert_eq!(state.verdict(), Verdict::WhichTone);
        let _ = state.switch_run(0);
        assert_ne!(state.verdict(), Verdict::WhichTone);
    }

    #[test]
    fn nothing_is_said_before_the_tone_is_chosen_nor_of_no_tone() {
        let mut state = specimen::asking(-1.0);
        assert_eq!(state.verdict(), Verdict::WhichTone);
        assert_eq!(state.way(), None);
        let words = state.guidance_words().unwrap();
        assert!(words.contains("which tone first"), "{words}");
        // The label was read on the command line: nothing is asked.
        state.conditions.nominal = Nominal::Fixed(Hertz(3150.0));
        assert_eq!(state.verdict(), Verdict::OutByThisTape);
        assert_eq!(
            specimen::showing(specimen::silence()).verdict(),
            Verdict::NoReading
        );
    }
}
