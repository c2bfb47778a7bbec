//! What became of the lines in the flutter between two snapshots: which fell,
//! rose, went or came. What a record could not have shown is neither gone nor
//! new.

use super::lines::{rate, short};
use super::numbers::{plain, rounded_up};
use crate::readings::{FlutterLine, FlutterLines, LineMotion};
use crate::records::Snapshot;
use crate::references::evidence::is_reel;
use crate::references::parts::Naming;
use crate::units::Hertz;

/// Lines of two sittings are the same within this and their ±, once both speeds
/// are taken out: no part keeps its rate better from day to day. Practice.
const SAME_LINE: f64 = 0.005;
/// The strongest lines alone are worth a sentence.
const LINES_COMPARED: usize = 5;
/// What makes less of the weighted flutter than this is not worth one.
const LEAST_SHARE: f64 = 0.05;

/// The lines of one of the two.
#[derive(Clone, Copy)]
struct Side<'a> {
    lines: &'a FlutterLines,
    /// Its speed over the nominal one.
    speed: f64,
}

/// What became of the lines that were strong before, and which are new; nothing
/// of unlike machines, speeds or directions, nor of what is simulated beside
/// what is not.
pub(super) fn sentences(earlier: &Snapshot, later: &Snapshot) -> Vec<String> {
    let both = Side::of(earlier).zip(Side::of(later));
    let Some((was, is)) = both.filter(|_| earlier.is_alike(later)) else {
        return Vec::new();
    };
    let went = was.strong().filter_map(|line| match is.find(was, line) {
        Some(now) => moved(was, line, is, now),
        None => Some(gone(was, line, is)),
    });
    let fresh = is.strong().filter(|line| was.find(is, line).is_none());
    let came = fresh.map(|line| new(is, line, was));
    went.chain(came).map(|it| plain(&it)).collect()
}

/// A line before and after; `None` on the side where it was not found.
pub(super) type Paired<'a> = [Option<(&'a FlutterLines, &'a FlutterLine)>; 2];

/// The strongest lines of both, each beside the same one of the other.
pub(super) fn paired<'a>(
    earlier: Option<&'a Snapshot>,
    later: Option<&'a Snapshot>,
) -> Vec<Paired<'a>> {
    let [was, is] = [earlier, later].map(|it| it.and_then(Side::of));
    let beside = |of: Side<'a>, line, other: Option<Side<'a>>| {
        let other = other?;
        Some((other.lines, other.find(of, line)?))
    };
    let before = was.into_iter().flat_map(|was| {
        let strong = was.strong();
        strong.map(move |line| [Some((was.lines, line)), beside(was, line, is)])
    });
    let fresh = is.into_iter().flat_map(|is| {
        let strong = is.strong();
        let fresh = strong.filter(move |line| beside(is, line, was).is_none());
        fresh.map(move |line| [None, Some((is.lines, line))])
    });
    before.chain(fresh).collect()
}

impl<'a> Side<'a> {
    fn of(snapshot: &'a Snapshot) -> Option<Self> {
        let measurement = &snapshot.measurement;
        let speed = measurement.speed.as_ref();
        Some(Self {
            lines: measurement.lines.as_ref()?,
            speed: speed.map_or(1.0, |it| it.deviation.ratio()),
        })
    }

    fn strong(self) -> impl Iterator<Item = &'a FlutterLine> {
        let strongest = self.lines.lines.iter().take(LINES_COMPARED);
        strongest.filter(|it| it.weighted_share >= LEAST_SHARE)
    }

    /// At what rate a line of the other one would be heard here.
    fn rate_of(self, other: Side<'_>, line: &FlutterLine) -> Hertz {
        let follows = line.motion != LineMotion::KeepsRate;
        let ratio = if follows {
            self.speed / other.speed
        } else {
            1.0
        };
        Hertz(line.hz.0 * ratio)
    }

    /// The same line here: by its rate, or that of a reel by its name, for its
    /// rate follows the pack.
    fn find(self, other: Side<'_>, line: &FlutterLine) -> Option<&'a FlutterLine> {
        let rate = self.rate_of(other, line).0;
        let known = |it: &FlutterLine| it.hz_uncertainty.0 / it.hz.0;
        let near =
            |it: &&FlutterLine| (it.hz.0 / rate).ln().abs() < SAME_LINE + known(it) + known(line);
        let reels = other.reels(line);
        let shares_one = |it: &&FlutterLine| self.reels(it).iter().any(|reel| reels.contains(reel));
        let mut all = self.lines.lines.iter();
        let by_rate = self.lines.lines.iter().find(near);
        by_rate.or_else(|| all.find(shares_one))
    }

    /// The reels that may be behind a line, with how often a turn.
    fn reels(self, line: &'a FlutterLine) -> Vec<(&'a str, u32)> {
        let naming = Naming::of(self.lines, line);
        let parts = naming.parts().iter().filter(|it| is_reel(&it.name));
        parts.map(|it| (it.name.as_str(), it.harmonic)).collect()
    }

    /// "line at 6.00 turns a second (capstan)".
    fn name(self, line: &FlutterLine) -> String {
        let part = short(self.lines, line);
        format!("line at {} turns a second ({part})", rate(line))
    }

    /// Why this record says nothing of a line of the other one; `None` where it
    /// would have shown it.
    fn unseen_because(self, other: Side<'_>, line: &FlutterLine) -> Option<String> {
        let seconds = format!("{:.0} s tell nothing", self.lines.seen.0);
        match self.lines.smallest_at(self.rate_of(other, line)) {
            None => Some(format!("{seconds} at that rate")),
            Some(smallest) if smallest.0 >= line.peak.0 - line.peak_uncertainty.0 => Some(format!(
                "{seconds} below {} % at that rate",
                rounded_up(smallest.0)
            )),
            Some(_) => None,
        }
    }
}

/// `None` where it changed by no more than the ±, or which of two reels it is
/// is not known.
fn moved(was: Side<'_>, line: &FlutterLine, is: Side<'_>, now: &FlutterLine) -> Option<String> {
    let is_doubtful = was.reels(line).len() > 1 || is.reels(now).len() > 1;
    let known = line.peak_uncertainty.0.hypot(now.peak_uncertainty.0);
    let [from, to] = [line.peak.0, now.peak.0];
    let way = if to < from { "fell" } else { "rose" };
    let says = (to - from).abs() > known && !is_doubtful;
    says.then(|| format!("The {} {way} from {from:.3} to {to:.3} %.", was.name(line)))
}

fn gone(was: Side<'_>, line: &FlutterLine, is: Side<'_>) -> String {
    let (name, peak) = (was.name(line), line.peak.0);
    match is.unseen_because(was, line) {
        None => format!("The {name} is gone; it was {peak:.3} %."),
        Some(why) => format!("The {name} was not seen; {why}. It was {peak:.3} %."),
    }
}

fn new(is: Side<'_>, line: &FlutterLine, was: Side<'_>) -> String {
    let (name, peak) = (is.name(line), line.peak.0);
    match was.unseen_because(is, line) {
        None => format!("A {name} is new: {peak:.3} %."),
        Some(why) => format!("A {name} has {peak:.3} %; before it was not seen: {why}."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::LikelyPart;
    use crate::records::Run;
    use crate::references::parts::hand_made::{line, together};
    use crate::report::comparison::tests::before_and_after;
    use crate::report::comparison::{changes, side_by_side};
    use crate::units::{Percent, Seconds};
    use jiff::tz::TimeZone;

    #[test]
    fn lines_are_paired_by_what_they_would_be_at_right_speed() {
        let (mut before, mut after) = before_and_after();
        // The machine was 1.23 % slow and is right: the capstan went along. The
        // belt is gone, and a motor came.
        let slow = 1.0 - 0.0123;
        let lines = vec![line(6.0 * slow, 0.09), line(2.9 * slow, 0.05)];
        before.measurement.lines = Some(together(lines));
        after.measurement.lines = Some(together(vec![line(6.0, 0.02), line(40.0, 0.04)]));
        let said = changes(&before, &after).join("\n");
        for part in [
            "line at 5.926 turns a second (which part?) fell from 0.090 to 0.020 %",
            "line at 2.864 turns a second (which part?) is gone; it was 0.050 %",
            "line at 40.00 turns a second (which part?) is new: 0.040 %",
        ] {
            assert!(said.contains(part), "{part}: {said}");
        }
        let text = side_by_side((1, &before), (2, &after), &TimeZone::UTC);
        assert!(text.contains("5.926: 0.090 %"), "{text}");
        after
            .measurement
            .lines
            .clone_from(&before.measurement.lines);
        after.measurement.speed = before.measurement.speed;
        let same = changes(&before, &after).join("\n");
        assert!(!same.contains("line"), "{same}");
    }

    #[test]
    fn what_a_record_could_not_show_is_neither_gone_nor_new() {
        let (mut before, mut after) = before_and_after();
        after.measurement.speed = before.measurement.speed;
        let lines = vec![line(0.5, 0.08), line(30.0, 0.006)];
        before.measurement.lines = Some(together(lines));
        // Ten seconds: nothing below one a second, nothing small above.
        let mut short = together(Vec::new());
        short.seen = Seconds(10.0);
        short.reach[0] = Hertz(1.0);
        short.smallest = [0.03, 0.02, 0.01].map(|it| Some(Percent(it)));
        after.measurement.lines = Some(short);
        let said = changes(&before, &after).join("\n");
        for part in [
            "line at 0.500 turns a second (which part?) was not seen; 10 s tell nothing at that \
             rate",
            "line at 30.00 turns a second (which part?) was not seen; 10 s tell nothing below \
             0.015 % at that rate",
        ] {
            assert!(said.contains(part), "{part}: {said}");
        }
        let said = changes(&after, &before).join("\n");
        assert!(!said.contains("is new") && said.contains("10 s"), "{said}");
    }

    #[test]
    fn lines_of_unlike_things_are_not_compared() {
        let (mut before, mut after) = before_and_after();
        before.measurement.lines = Some(together(vec![line(6.0, 0.09)]));
        after.measurement.lines = Some(together(vec![line(40.0, 0.04)]));
        after.machine = Some("Deck-4".to_owned());
        assert!(changes(&before, &after).join(" ").contains("is new"));
        let unlike: [fn(&mut Snapshot); 3] = [
            |it| it.machine = Some("deck 5".to_owned()),
            |it| {
                it.run = Some(Run {
                    speed_cm_s: Some(9.5),
                    direction: None,
                });
            },
            |it| it.simulated = true,
        ];
        for make in unlike {
            let mut other = after.clone();
            make(&mut other);
            let said = changes(&before, &other).join(" ");
            assert!(!said.contains("line at"), "{said}");
        }
    }

    #[test]
    fn a_line_is_paired_within_its_uncertainty_and_a_reel_by_its_name() {
        let (mut before, mut after) = before_and_after();
        after.measurement.speed = before.measurement.speed;
        let vague = |hz: f64, peak: f64| FlutterLine {
            hz_uncertainty: Hertz(0.01 * hz),
            ..line(hz, peak)
        };
        let reel = |hz: f64, peak: f64| FlutterLine {
            parts: vec![LikelyPart {
                name: "take-up reel".to_owned(),
                harmonic: 1,
                likelihood: 0.95,
                usual: None,
            }],
            ..line(hz, peak)
        };
        let both = |pack: f64, peak: f64| {
            let mut lines = together(vec![
                vague(6.0 * (1.0 + 0.02 * pack), peak),
                reel(0.6 - 0.2 * pack, peak),
            ]);
            lines.card = Some("bench".to_owned());
            Some(lines)
        };
        before.measurement.lines = both(0.0, 0.09);
        after.measurement.lines = both(0.8, 0.03);
        let said = changes(&before, &after).join("\n");
        assert!(!said.contains("gone") && !said.contains("new"), "{said}");
        assert_eq!(
            said.matches("fell from 0.090 to 0.030 %").count(),
            2,
            "{said}"
        );
    }
}
