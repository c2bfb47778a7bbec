//! Tables of checks of the wiper.

use jiff::Timestamp;

use super::rows::{Figures, SIMULATED, Said, list, middle, moment, table, time};
use super::{Cell, Table};
use crate::readings::SweepReport;
use crate::report::json;
use crate::report::numbers::places;
use crate::units::{Percent, Seconds};

/// A check of the wiper.
#[derive(Clone, Copy)]
pub(super) struct Check<'a> {
    pub at: Option<Timestamp>,
    pub report: &'a SweepReport,
    /// `None` for a file.
    pub simulated: Option<bool>,
}

/// When, and the speed.
type Step = (Seconds, Option<Percent>);

/// Something of one, with its number.
struct OfCheck<T> {
    check: f64,
    simulated: Option<bool>,
    it: T,
}

impl<T> OfCheck<T> {
    fn simulated(&self) -> Cell {
        self.simulated.map_or(Cell::None, Cell::yes)
    }
}

const CHECK: &str = "which check, from 1";

pub(super) fn of_checks(checks: &[Check<'_>]) -> Vec<Table> {
    let numbered = || (1u32..).map(f64::from).zip(checks);
    let said: [Said<OfCheck<Check<'_>>>; 4] = [
        ("check", CHECK, |it| Cell::Number(it.check)),
        (SIMULATED[0], SIMULATED[1], OfCheck::simulated),
        ("taken_utc", "when it ended", |it| {
            it.it.at.map_or(Cell::None, moment)
        }),
        ("lasted_s", "how long the trimmer was turned", |it| {
            Cell::number(places(it.it.report.lasted.0, 2))
        }),
    ];
    let rows = numbered().map(|(check, it)| {
        let object = json::sweep(it.report);
        let simulated = it.simulated;
        let it = *it;
        (
            OfCheck {
                check,
                simulated,
                it,
            },
            object,
        )
    });
    let wiper = table(["wiper", "a check of the wiper"], &said, WIPER, rows);

    let said: [Said<OfCheck<&str>>; 3] = [
        ("check", CHECK, |it| Cell::Number(it.check)),
        (SIMULATED[0], SIMULATED[1], OfCheck::simulated),
        ("matters", "bad, or slight: too small to matter", |it| {
            Cell::text(Some(it.it))
        }),
    ];
    let rows = numbered().flat_map(|(check, it)| {
        let object = json::sweep(it.report);
        let simulated = it.simulated;
        let of = |key, it| {
            let found = object[key].as_array().cloned().unwrap_or_default();
            found.into_iter().map(move |spot| {
                (
                    OfCheck {
                        check,
                        simulated,
                        it,
                    },
                    spot,
                )
            })
        };
        let spots = of("bad_spots", "bad").chain(of("slight_spots", "slight"));
        spots.collect::<Vec<_>>()
    });
    let names = ["wiper_spots", "a place of the trimmer's track"];
    let spots = table(names, &said, SPOTS, rows);

    let said: [Said<OfCheck<Step>>; 4] = [
        ("check", CHECK, |it| Cell::Number(it.check)),
        (SIMULATED[0], SIMULATED[1], OfCheck::simulated),
        ("time_s", "middle of the step, since it was begun", |it| {
            time(it.it.0)
        }),
        (
            "deviation_percent",
            "mean deviation of the speed in the step; empty where there was no tone",
            |it| Cell::number(it.it.1.and_then(|it| places(it.0, 6))),
        ),
    ];
    let rows = numbered().flat_map(|(check, it)| {
        let picture = &it.report.picture;
        let simulated = it.simulated;
        let steps = (0u32..).zip(&picture.speed);
        steps.map(move |(nth, value)| OfCheck {
            check,
            simulated,
            it: (middle(Seconds(0.0), picture.step, nth), *value),
        })
    });
    let names = [
        "wiper_speed",
        "a step of the speed while the trimmer was turned",
    ];
    vec![wiper, spots, list(names, &said, rows)]
}

pub(super) const WIPER: Figures = "\
verdict | /verdict | smooth, erratic, near_end or unclear
unclear | /unclear | why nothing can be said
range_low_percent | /range_low_percent | lowest speed that the trimmer reached
range_high_percent | /range_high_percent | highest
right_speed_in_range | /right_speed_in_range | yes: right speed lies between the two
right_speed_at | /right_speed_at | where: 0 is at the lowest speed, 1 at the highest
backlash_percent | /backlash_percent | how far apart the ways out and back lie
";

pub(super) const SPOTS: Figures = "\
at_percent | /at_percent | speed that a clean wiper would give there
depth_percent | /depth_percent | how far the speed is off on it; empty where that cannot be told
kind | /kind | jump, reversal, dead or crackle
seen | /seen | on the way out, back, or both
";
