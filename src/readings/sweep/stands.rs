//! Where the speed stands while the trimmer should be turning: a dead place
//! of the track, if it stands at the same speed on another way.
//!
//! A hand that stops looks the same once. Whether two stands at one speed are
//! chance follows from how often this hand stops: with n stands on one way and
//! m on another over a range R, two of them lie within d of each other by
//! chance about 2 n m d / R times.

use super::evidence::Inner;
use super::series::{RATE_HZ, running_mean};

/// Shorter than this in seconds is no stand.
const SHORTEST_S: f64 = 0.4;
/// While it stands the speed moves by less than this part of what the hand
/// moves it at its usual pace.
const MOVES_SHARE: f64 = 0.3;
/// No track is known better than this in percent.
const LEAST_APART: f64 = 0.02;
/// Of two stands at the same place the longer lasts this many times as long at
/// most: a hand is about as quick out as back.
const LONGER_TIMES: f64 = 3.0;
/// A chance below this is not taken for one: with two ways, and with more,
/// where three have to agree and a hand that does things twice is seen through.
const MOST_CHANCE: [f64; 2] = [0.005, 0.0003];
/// Nearer to right speed than this in percent anybody stops to look.
const LOOKED_AT: f64 = 0.25;

/// A stretch in which the speed stood.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stand {
    pub(super) from: usize,
    pub(super) to: usize,
    /// Mean of it in percent.
    pub(super) at: f64,
}

impl Stand {
    fn lasts(&self) -> usize {
        self.to - self.from
    }

    /// As nearly as a hand does the same twice.
    fn is_as_long_as(&self, other: &Self) -> bool {
        let (a, b) = (self.lasts() as f64, other.lasts() as f64);
        a.max(b) <= LONGER_TIMES * a.min(b)
    }

    pub(super) fn middle(&self) -> usize {
        usize::midpoint(self.from, self.to)
    }
}

/// The stands of a way. `values` in percent without the flutter that comes
/// back, `flutter` what is left of it from peak to peak, `pace` the usual
/// speed of turning in percent a second.
pub(super) fn stands(values: &[f64], inner: Inner, flutter: f64, pace: f64) -> Vec<Stand> {
    let mean = running_mean(values, (0.08 * RATE_HZ) as usize);
    let shortest = SHORTEST_S.max(flutter / (MOVES_SHARE * pace)) * RATE_HZ;
    let band = flutter.max(MOVES_SHARE * pace * SHORTEST_S);
    let mut found = Vec::new();
    let mut from = inner.from;
    while from < inner.to {
        let (mut low, mut high) = (mean[from], mean[from]);
        let mut to = from;
        while to < inner.to {
            let (lower, higher) = (low.min(mean[to]), high.max(mean[to]));
            if higher - lower > band {
                break;
            }
            (low, high) = (lower, higher);
            to += 1;
        }
        let lasts = (to - from) as f64;
        if lasts < shortest || band > MOVES_SHARE * pace * lasts / RATE_HZ {
            from += 1;
            continue;
        }
        // Its ends still belong to the turning.
        let edge = (to - from) / 5;
        let core = &values[from + edge..to - edge];
        found.push(Stand {
            from,
            to,
            at: core.iter().sum::<f64>() / core.len() as f64,
        });
        from = to;
    }
    found
}

/// A dead place and the stands that show it, one a way.
#[derive(Clone, Debug)]
pub(super) struct Dead {
    pub(super) at: f64,
    pub(super) seen: Vec<Stand>,
}

/// Dead places by the stands of each way; `range` of the sweep and `flutter`
/// from peak to peak in percent.
pub(super) fn dead_places(ways: &[Vec<Stand>], range: f64, flutter: f64) -> Vec<Dead> {
    let least_apart = (flutter / 4.0).max(LEAST_APART);
    let most_chance = MOST_CHANCE[usize::from(ways.len() > 2)];
    let mut dead: Vec<Dead> = Vec::new();
    for (way, stands) in ways.iter().enumerate() {
        for stand in stands {
            let known = dead
                .iter()
                .any(|it| (it.at - stand.at).abs() < 2.0 * flutter);
            if known || stand.at.abs() < LOOKED_AT {
                continue;
            }
            let longer = |it: &&Stand| 2 * it.lasts() >= stand.lasts();
            let mut chance = ways[way].iter().filter(longer).count() as f64;
            let mut seen = vec![*stand];
            let others = ways.iter().enumerate().filter(|(other, _)| *other != way);
            for (_, theirs) in others {
                let alike = theirs.iter().filter(|it| it.is_as_long_as(stand));
                let alike: Vec<&Stand> = alike.collect();
                let apart = |it: &Stand| (it.at - stand.at).abs();
                let nearest = alike.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)));
                let Some(nearest) = nearest else { continue };
                let count = alike.len() as f64;
                let once = 2.0 * count * apart(nearest).max(least_apart) / range;
                if once < 0.5 {
                    chance *= once;
                    seen.push(**nearest);
                }
            }
            // Sets of other ways that might have agreed.
            let sets = 1 << (ways.len() - 1).saturating_sub(seen.len());
            if seen.len() > 1 && chance * f64::from(sets) < most_chance {
                let at = seen.iter().map(|it| it.at).sum::<f64>() / seen.len() as f64;
                dead.push(Dead { at, seen });
            }
        }
    }
    dead
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp_with_stand(at: f64, lasts: usize) -> Vec<f64> {
        let mut values = Vec::new();
        let mut v: f64 = -4.0;
        while v < 4.0 {
            if (v - at).abs() < 0.006 {
                values.extend(std::iter::repeat_n(v, lasts));
            }
            values.push(v);
            v += 0.012;
        }
        values
    }

    #[test]
    fn a_stand_is_found_where_it_is_and_a_ramp_has_none() {
        let found = |values: &[f64]| {
            let inner = Inner {
                from: 20,
                to: values.len() - 20,
            };
            stands(values, inner, 0.05, 0.6)
        };
        let one = found(&ramp_with_stand(1.3, 60));
        assert_eq!(one.len(), 1, "{one:?}");
        assert!((one[0].at - 1.3).abs() < 0.03, "{one:?}");
        assert!(found(&ramp_with_stand(9.0, 0)).is_empty());
    }

    fn stand(at: f64) -> Stand {
        Stand {
            from: 100,
            to: 150,
            at,
        }
    }

    #[test]
    fn two_stands_at_one_speed_are_a_dead_place_and_a_hand_that_stops_often_is_not() {
        let one = vec![stand(-1.51)];
        let other = vec![stand(-1.5)];
        let found = dead_places(&[one.clone(), other], 20.0, 0.05);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!((found[0].at + 1.505).abs() < 1e-9);
        assert!(dead_places(&[one.clone(), vec![stand(-2.0)]], 20.0, 0.05).is_empty());
        let often: Vec<Stand> = (-8..8).map(|at| stand(f64::from(at) - 0.5)).collect();
        assert!(dead_places(&[one, often], 20.0, 0.05).is_empty());
    }

    #[test]
    fn right_speed_is_where_anybody_stops() {
        let at_right = vec![stand(0.01)];
        assert!(dead_places(&[at_right.clone(), at_right], 20.0, 0.05).is_empty());
    }
}
