//! Likely faults: rules that are data (`assets/faults.toml`), held against the
//! signs that are there. Causes are guesses of the trade, and are said so.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use super::evidence::{Evidence, Sign};

/// More are no help at a bench.
const MOST: usize = 3;
/// What a line that another part may have made as well takes off. Practice.
const DOUBTFUL: f64 = 1.0;
/// A line many times what is usual adds at most this, 1 for each doubling.
const MOST_OF_STRENGTH: f64 = 3.0;

/// A fault that the signs speak of.
#[derive(Clone, Debug, PartialEq)]
pub struct LikelyFault {
    /// Name of the rule, as the file has it.
    pub rule: &'static str,
    /// What it may be.
    pub cause: &'static str,
    /// What to look at first.
    pub check: &'static str,
    /// That belong to the check, and never go without it.
    pub cautions: Vec<&'static str>,
    /// Signs that speak of it.
    pub reasons: Vec<Evidence>,
}

impl LikelyFault {
    /// What wavers, or the head, speaks of it, and not the speed alone.
    pub fn is_of_wavering(&self) -> bool {
        let of_it = |it: &Evidence| {
            let broad = matches!(it.sign, Sign::BroadSlow | Sign::BroadFast);
            it.line.is_some() || broad || it.sign == Sign::AzimuthOff
        };
        self.reasons.iter().any(of_it)
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Rules {
    #[allow(dead_code)] // the version of the file: there is one
    faults: u32,
    cautions: BTreeMap<String, String>,
    rule: Vec<Rule>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Rule {
    name: String,
    when: Vec<Sign>,
    #[serde(default)]
    more: Vec<Sign>,
    #[serde(default)]
    unless: Vec<Sign>,
    weight: u32,
    cause: String,
    check: String,
    #[serde(default)]
    cautions: Vec<String>,
    #[allow(dead_code)] // for those who read the file
    source: String,
}

static RULES: LazyLock<Rules> = LazyLock::new(|| {
    let text = include_str!("../../assets/faults.toml");
    toml::from_str(text).expect("it is part of the program, and a test reads it")
});

/// The words of a caution of the file.
pub fn caution(name: &str) -> &'static str {
    RULES.cautions.get(name).map_or("", String::as_str)
}

/// What the signs speak of, likeliest first, three at most.
pub fn likely(evidence: &[Evidence]) -> Vec<LikelyFault> {
    all(evidence).take(MOST).collect()
}

/// The likeliest of what wavers, and the likeliest of the speed.
pub fn likeliest_of_each(evidence: &[Evidence]) -> [Option<LikelyFault>; 2] {
    let of_wavering = |wanted: bool| all(evidence).find(|it| it.is_of_wavering() == wanted);
    [true, false].map(of_wavering)
}

/// Likeliest first.
fn all(evidence: &[Evidence]) -> impl Iterator<Item = LikelyFault> {
    let mut found: Vec<(f64, LikelyFault)> = RULES
        .rule
        .iter()
        .filter_map(|rule| rule.held_against(evidence))
        .collect();
    // Among equals the order of the file stays.
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.into_iter().map(|(_, fault)| fault)
}

impl Rule {
    /// How much speaks for it, and why; `None` where something is missing.
    fn held_against(&'static self, evidence: &[Evidence]) -> Option<(f64, LikelyFault)> {
        let strongest = |sign: &Sign| {
            let of_it = evidence.iter().filter(|it| it.sign == *sign);
            of_it.max_by(|a, b| a.times_usual.total_cmp(&b.times_usual))
        };
        if self.unless.iter().any(|sign| strongest(sign).is_some()) {
            return None;
        }
        let mut reasons: Vec<&Evidence> = self.when.iter().map(strongest).collect::<Option<_>>()?;
        let of_line = reasons.iter().find(|it| it.line.is_some()).copied();
        let strength = of_line.map_or(0.0, |it| it.times_usual.log2());
        let doubtful = reasons.iter().any(|it| it.doubtful);
        let part = of_line.and_then(|it| it.part.as_deref());
        let more = self.more.iter().filter_map(|sign| {
            let of_it = evidence.iter().filter(|it| it.sign == *sign);
            // Of another part it says nothing about this one.
            let mut of_this = of_it.filter(|it| it.part.is_none() || it.part.as_deref() == part);
            of_this.next()
        });
        let more: Vec<&Evidence> = more.collect();
        let score =
            f64::from(self.weight) + more.len() as f64 + strength.clamp(0.0, MOST_OF_STRENGTH)
                - if doubtful { DOUBTFUL } else { 0.0 };
        reasons.extend(more);
        let cautions = self.cautions.iter();
        let cautions = cautions.filter_map(|it| Some(RULES.cautions.get(it)?.as_str()));
        let fault = LikelyFault {
            rule: &self.name,
            cause: &self.cause,
            check: &self.check,
            cautions: cautions.collect(),
            reasons: reasons.into_iter().cloned().collect(),
        };
        Some((score, fault))
    }
}

/// What a hand does by some words of a check, and the caution that must then go
/// with it.
#[cfg(test)]
pub const CAUTIONS_NEEDED: [(&str, &str); 31] = [
    ("voltage at", "mains"),
    ("ripple across", "mains"),
    ("trimmer", "mains"),
    ("trimmer", "mark"),
    ("trim the speed", "mains"),
    ("trim the speed", "mark"),
    ("azimuth", "mark"),
    ("azimuth", "mains"),
    ("azimuth", "moving"),
    ("clean", "cleaner"),
    ("cells", "cells"),
    ("bench supply", "supply"),
    ("spin it", "moving"),
    ("turning shaft", "moving"),
    ("belt off", "moving"),
    ("pinch roller:", "moving"),
    ("pressure", "moving"),
    ("pressure", "mains"),
    ("flywheel", "moving"),
    ("count the turns", "moving"),
    ("count the turns", "mains"),
    ("count its turns", "moving"),
    ("count its turns", "mains"),
    ("drive", "moving"),
    ("drive", "mains"),
    ("clutch", "mains"),
    ("teeth", "mains"),
    ("the rim", "mains"),
    ("turn it by finger", "mains"),
    ("roughness of the tone", "loud"),
    ("take the belt off", "mains"),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn sign(sign: Sign) -> Evidence {
        Evidence::of(sign)
    }

    fn line(sign: Sign, part: &str, times_usual: f64) -> Evidence {
        Evidence {
            line: Some(0),
            part: Some(part.to_owned()),
            times_usual,
            ..Evidence::of(sign)
        }
    }

    fn first(evidence: &[Evidence]) -> &'static str {
        likely(evidence).first().map_or("nothing", |it| it.rule)
    }

    #[test]
    fn every_rule_can_be_read_and_has_what_it_names() {
        assert_eq!(RULES.faults, 1);
        for rule in &RULES.rule {
            assert!((1..=5).contains(&rule.weight), "{}", rule.name);
            assert!(
                !rule.when.is_empty() && !rule.source.is_empty(),
                "{}",
                rule.name
            );
            for caution in &rule.cautions {
                assert!(
                    RULES.cautions.contains_key(caution),
                    "{}: {caution}",
                    rule.name
                );
            }
            let one_name = RULES.rule.iter().filter(|it| it.name == rule.name);
            assert_eq!(one_name.count(), 1, "{}", rule.name);
        }
    }

    #[test]
    fn no_check_of_a_live_part_comes_without_its_caution() {
        let mut checked = 0;
        for rule in &RULES.rule {
            for (deed, caution) in CAUTIONS_NEEDED {
                if rule.check.contains(deed) {
                    checked += 1;
                    let has = rule.cautions.iter().any(|it| it == caution);
                    assert!(has, "{}: \"{deed}\" without {caution}", rule.name);
                }
            }
        }
        assert!(checked >= 40, "{checked}");
    }

    #[test]
    fn the_line_that_is_furthest_from_usual_leads() {
        let capstan = line(Sign::LineCapstan, "capstan", 1.2);
        let reel = line(Sign::LineReel, "take-up reel", 6.0);
        assert_eq!(first(&[capstan.clone(), reel.clone()]), "reel");
        let faults = likely(&[capstan, reel]);
        assert_eq!(faults.len(), 2);
        assert_eq!(faults[1].rule, "capstan");
    }

    #[test]
    fn another_parts_second_line_says_nothing_of_this_one() {
        let capstan = line(Sign::LineCapstan, "capstan", 1.1);
        let belt = line(Sign::LineBelt, "belt", 1.4);
        assert_eq!(first(&[capstan.clone(), belt.clone()]), "belt");
        let of_capstan = line(Sign::Twice, "capstan", 1.0);
        assert_eq!(first(&[capstan, belt, of_capstan]), "capstan");
    }

    #[test]
    fn what_another_part_may_have_made_counts_less() {
        let sure = line(Sign::LineIdler, "idler", 2.0);
        let mut doubtful = line(Sign::LineMotor, "motor", 2.5);
        doubtful.doubtful = true;
        assert_eq!(first(&[sure, doubtful]), "idler");
    }

    #[test]
    fn a_wrong_but_steady_speed_is_set_and_without_a_trimmer_looked_into() {
        let off = [sign(Sign::Off), sign(Sign::Steady)];
        assert_eq!(first(&off), "setting");
        let servo = [off.as_slice(), &[sign(Sign::NoTrimmer)]].concat();
        assert_eq!(first(&servo), "setting without a trimmer");
        let at_end = [off.as_slice(), &[sign(Sign::NearEnd)]].concat();
        assert_eq!(first(&at_end), "trimmer at its end");
        assert_eq!(first(&[]), "nothing");
    }

    #[test]
    fn cells_are_blamed_once_the_supply_has_answered() {
        let slowing = [sign(Sign::Drifting), sign(Sign::Slowing)];
        assert_eq!(first(&slowing), "slowing over minutes");
        let follows = [slowing.as_slice(), &[sign(Sign::FollowsSupply)]].concat();
        assert_eq!(first(&follows), "tired cells");
        let holds = [slowing.as_slice(), &[sign(Sign::HoldsSupply)]].concat();
        assert_eq!(first(&holds), "warming up");
    }
}
