//! A part's rate, learnt from a line that somebody has recognised.

use super::attribution::HeardAt;
use super::card::PartsCard;
use super::part::Part;
use crate::readings::FlutterLine;

/// Belts slip and rubber wears: no rate is written down as better known than
/// this, in percent. Practice.
const BEST_TOLERANCE_PERCENT: f64 = 0.3;

impl PartsCard {
    /// Puts a part on the card, or its rate right: what the line has at
    /// this harmonic, at nominal speed. All else that was said of the part
    /// stays. `learned` says when and from what.
    pub fn learn(
        &mut self,
        name: &str,
        line: &FlutterLine,
        harmonic: u32,
        at: &HeardAt,
        learned: String,
    ) {
        let turns = line.hz.0 / f64::from(harmonic.max(1)) / at.deviation.ratio();
        let of_line = 100.0 * line.hz_uncertainty.0 / line.hz.0;
        let tolerance = of_line.hypot(at.uncertainty.0).max(BEST_TOLERANCE_PERCENT);
        let known = self.part(name).cloned();
        let known = known.unwrap_or_else(|| Part::turning(name.trim(), turns));
        let mut harmonics = known.harmonics.clone();
        if !known.all_harmonics().contains(&harmonic) {
            harmonics.push(harmonic);
            harmonics.sort_unstable();
        }
        let part = Part {
            // A ten-thousandth is more than any part keeps.
            turns_per_second: Some(rounded(turns)),
            tolerance_percent: Some((100.0 * tolerance).ceil() / 100.0),
            harmonics,
            learned: Some(learned),
            normal_percent: known.normal_percent,
            teeth: known.teeth,
            poles: known.poles,
            also: known.also,
            name: known.name,
            ..Part::default()
        };
        match self.parts.iter_mut().find(|it| it.name == part.name) {
            Some(old) => *old = part,
            None => self.parts.push(part),
        }
    }
}

fn rounded(turns: f64) -> f64 {
    let step = 10f64.powf(turns.log10().floor() - 4.0);
    (turns / step).round() * step
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::references::parts::hand_made::line;
    use crate::units::Percent;

    fn at(deviation: f64, uncertainty: f64) -> HeardAt {
        HeardAt {
            deviation: Percent(deviation),
            uncertainty: Percent(uncertainty),
            place: None,
        }
    }

    #[test]
    fn the_rate_is_that_at_nominal_speed() {
        let mut card = PartsCard::new("bench");
        // A machine 2 % fast: 6.12 heard is 6 at nominal speed.
        card.learn(
            "capstan",
            &line(6.12, 0.05),
            1,
            &at(2.0, 0.1),
            "today".to_owned(),
        );
        card.learn(
            "idler",
            &line(18.36, 0.05),
            2,
            &at(2.0, 0.5),
            "today".to_owned(),
        );
        let card = PartsCard::from_toml(&card.to_toml().unwrap()).unwrap();
        let [capstan, idler] = &card.parts[..] else {
            panic!("{card:?}");
        };
        assert!((capstan.turns_per_second.unwrap() - 6.0).abs() < 1e-3);
        assert!((idler.turns_per_second.unwrap() - 9.0).abs() < 1e-3);
        assert_eq!(idler.harmonics, [1, 2]);
        assert_eq!(capstan.tolerance_percent, Some(0.3), "no better than that");
        assert!(
            idler.tolerance_percent >= Some(0.5),
            "the tape's own error counts"
        );
    }

    #[test]
    fn what_else_was_said_of_the_part_stays() {
        let text = "parts_card = 1\nname = \"a\"\nspeed_cm_s = 4.76\n[[part]]\nname = \"capstan\"\n\
            diameter_mm = 2.5\nharmonics = [1, 2]\nnormal_percent = 0.04\nalso = [\"flywheel\"]\n";
        let mut card = PartsCard::from_toml(text).unwrap();
        card.learn(
            "capstan",
            &line(6.3, 0.05),
            1,
            &at(0.0, 0.1),
            "today".to_owned(),
        );
        let card = card.checked().unwrap();
        let [capstan] = &card.parts[..] else {
            panic!("{card:?}");
        };
        assert_eq!(capstan.diameter_mm, None, "the rate is said once");
        assert_eq!(capstan.normal_percent, Some(0.04));
        assert_eq!(capstan.also, ["flywheel"]);
    }
}
