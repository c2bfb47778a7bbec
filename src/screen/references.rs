//! References that are no tone, in words: where the tape is in a copy, how far
//! a passage has come, how many marks were heard.

use super::words;
use crate::readings::{Caution, CopyState, PassageState, PlaceInCopy, Progress};
use crate::readings::{Problem, Reading, ReferenceKind, ToneState};
use crate::report::{clause, trouble};
use crate::units::Seconds;

/// Minutes and seconds, as a player shows them.
fn clock(time: Seconds) -> String {
    let whole = time.0.max(0.0).floor();
    format!("{:.0}:{:02.0}", (whole / 60.0).floor(), whole % 60.0)
}

/// How it stands, in a word or two, and whether that is a trouble.
pub(super) fn short(reading: &Reading) -> (String, bool) {
    match (&reading.timed, &reading.place) {
        (Some(progress), _) => short_of_time(progress),
        (None, Some(place)) => short_of_place(place),
        (None, None) => {
            let found = reading.tone == ToneState::Locked;
            (words::tone(reading.tone).to_owned(), !found)
        }
    }
}

fn short_of_time(progress: &Progress) -> (String, bool) {
    match progress {
        Progress::Passage {
            state,
            since,
            by_hand,
            ..
        } => match (state, since) {
            (PassageState::Playing, Some(since)) if *by_hand => {
                (format!("timed by hand, {since:.0}"), false)
            }
            (_, Some(since)) => (format!("plays since {since:.0}"), false),
            (PassageState::NeedsSilence, None) => ("no silence yet".to_owned(), true),
            (PassageState::Ended, None) => ("passage ended".to_owned(), false),
            (_, None) => ("waits for sound".to_owned(), false),
        },
        Progress::Marks { found, refused, .. } => (format!("marks {found}"), refused.is_some()),
    }
}

fn short_of_place(place: &PlaceInCopy) -> (String, bool) {
    match (place.state, place.now) {
        (_, Some(now)) => (
            format!("at {} of {}", clock(now), clock(place.length)),
            false,
        ),
        (CopyState::Silent, None) => ("no sound yet".to_owned(), true),
        (CopyState::Listening, None) => (format!("searches, {:.0} s heard", place.heard.0), false),
        (CopyState::NotFound, None) => ("NOT FOUND".to_owned(), true),
        (CopyState::Ambiguous, None) => ("REPEATS".to_owned(), true),
        (CopyState::Following, None) => ("music pauses".to_owned(), true),
        (CopyState::Lost, None) => ("PLACE LOST".to_owned(), true),
    }
}

/// What to do or to wait for, and whether it is a trouble; `None` where there
/// is nothing to say beside the speed.
pub(super) fn sentence(reading: &Reading) -> Option<(String, bool)> {
    match (&reading.timed, &reading.place) {
        (Some(progress), _) => {
            let is_silent = reading.signal.problems.contains(&Problem::NoSignal);
            sentence_of_time(progress, is_silent)
        }
        (None, Some(place)) => sentence_of_place(place),
        (None, None) => None,
    }
}

fn sentence_of_time(progress: &Progress, is_silent: bool) -> Option<(String, bool)> {
    match progress {
        Progress::Passage {
            state,
            since,
            expected,
            by_hand,
            refused,
        } => {
            let length = expected.0;
            Some(match (state, since, refused) {
                (_, Some(since), _) if !*by_hand && is_silent => (
                    format!("silent after {since:.0}: has it ended? It is known in some seconds"),
                    false,
                ),
                (_, Some(since), _) => (counting(*since, *expected, *by_hand), false),
                (_, None, Some(why)) => (format!("no speed: {}", clause(&why.to_string())), true),
                (PassageState::Ended, None, None) => (
                    "the passage has ended; wind back and play it again for the next reading".to_owned(),
                    false,
                ),
                (PassageState::NeedsSilence, ..) => (
                    "no silence heard yet: wind back to before the passage; or press z as it begins and as it ends".to_owned(),
                    true,
                ),
                _ => (
                    format!("waits for the first sound of {length} s at right speed; or press z as it begins and as it ends"),
                    false,
                ),
            })
        }
        Progress::Marks {
            found,
            spacing,
            refused,
        } => match refused {
            // One mark alone is not counted yet.
            _ if is_silent && *found == 0 => Some((
                "silent: waits for two marks; is the tape on?".to_owned(),
                false,
            )),
            None if is_silent => Some((
                "silent: between marks, or the tape stopped".to_owned(),
                false,
            )),
            None => None,
            Some(why) => {
                let why = clause(&why.to_string());
                Some((
                    format!("no speed from marks {} s apart: {why}", spacing.0),
                    true,
                ))
            }
        },
    }
}

/// What a count tells before it has ended: nothing faster than the time that
/// has passed.
fn counting(since: Seconds, expected: Seconds, by_hand: bool) -> String {
    let left = expected.0 - since.0;
    let ends = if by_hand {
        "; press z at its last sound"
    } else {
        ""
    };
    if left >= 0.0 {
        format!("{since:.0} since the first sound, {left:.0} s to go at right speed{ends}")
    } else {
        let slow = 100.0 * (1.0 - expected.0 / since.0);
        format!(
            "{since:.0} since the first sound, {:.1} s over: at least {slow:.2} % slow if it still sounds{ends}",
            -left
        )
    }
}

fn sentence_of_place(place: &PlaceInCopy) -> Option<(String, bool)> {
    let text = match (place.state, place.now) {
        (_, Some(_)) if place.repeats => {
            return Some((clause(&Caution::PlaceRepeats.to_string()), false));
        }
        _ if place.two_things => clause(&trouble(
            &Problem::ChannelsDisagree,
            ReferenceKind::Recording,
        )),
        (_, Some(_)) | (CopyState::Silent, None) => return None,
        (CopyState::Listening, None) => {
            return Some((
                format!(
                    "{:.0} s heard, some 10 s needed: play on; dense music is found soonest",
                    place.heard.0
                ),
                false,
            ));
        }
        (CopyState::NotFound, None) => format!(
            "not found in {:.0} s: play on, from where the music is dense; is it this performance \
             and mix, within 10 % of right speed, loud enough?",
            place.heard.0
        ),
        (CopyState::Ambiguous, None) => {
            "the music repeats, at different speeds: play on, or another place".to_owned()
        }
        (CopyState::Following, None) => "the music pauses, or the tape has stopped".to_owned(),
        (CopyState::Lost, None) => {
            "place lost: wound on, a cut, or the copy is over; looked for again".to_owned()
        }
    };
    Some((text, true))
}

/// Time since the first sound of a passage that plays.
pub(super) fn counted(reading: &Reading) -> Option<Seconds> {
    match reading.timed {
        Some(Progress::Passage { since, .. }) => since,
        _ => None,
    }
}

/// What the needle is the mean of.
pub(super) fn needle(kind: ReferenceKind) -> &'static str {
    match kind {
        ReferenceKind::Tone | ReferenceKind::Note => "150 ms",
        ReferenceKind::Recording => "0.6 s",
        ReferenceKind::Marks => "newest marks",
        ReferenceKind::Passage => "last passage",
    }
}

/// Beside the speed, in the row of units.
pub(super) fn beside(reading: &Reading) -> Option<String> {
    match (&reading.timed, &reading.place) {
        (Some(Progress::Passage { expected, .. }), _) => {
            Some(format!("passage of {} s", expected.0))
        }
        (Some(Progress::Marks { found, spacing, .. }), _) => {
            Some(format!("{found} marks, {} s apart is right", spacing.0))
        }
        (None, Some(place)) => place
            .now
            .map(|now| format!("at {} of {} in the copy", clock(now), clock(place.length))),
        (None, None) => None,
    }
}

/// A trouble that the reference's own words say better: silence before and
/// after a passage is none, nor is that around marks.
pub(super) fn is_said_elsewhere(problem: &Problem, reading: &Reading) -> bool {
    match problem {
        Problem::NoTone | Problem::ToneLost => true,
        Problem::NoSignal => reading.timed.is_some(),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_count_says_what_is_known_so_far() {
        let text = |since| counting(Seconds(since), Seconds(200.0), false);
        assert!(text(60.0).contains("140 s to go"), "{}", text(60.0));
        // 204 s for 200 s: 1 − 200/204 = 1.96 % slow at least.
        assert!(
            text(204.0).contains("at least 1.96 % slow"),
            "{}",
            text(204.0)
        );
    }

    #[test]
    fn minutes_are_shown_as_a_player_does() {
        assert_eq!(clock(Seconds(754.9)), "12:34");
        assert_eq!(clock(Seconds(-0.3)), "0:00");
    }

    #[test]
    fn a_place_that_is_followed_needs_no_sentence() {
        let mut place = PlaceInCopy {
            state: CopyState::Following,
            now: Some(Seconds(61.0)),
            length: Seconds(2700.0),
            heard: Seconds(20.0),
            repeats: false,
            two_things: false,
        };
        assert_eq!(sentence_of_place(&place), None);
        assert_eq!(short_of_place(&place).0, "at 1:01 of 45:00");
        (place.state, place.now) = (CopyState::NotFound, None);
        let (text, trouble) = sentence_of_place(&place).expect("said");
        assert!(trouble && text.contains("20 s"), "{text}");
        place.two_things = true;
        let (text, trouble) = sentence_of_place(&place).expect("said");
        assert!(trouble && text.contains("--channel"), "{text}");
    }
}
