//! A part's rate, learnt from a line that somebody has recognised.

use super::attribution::HeardAt;
use super::card::PartsCard;
use super::part::Part;
use crate::readings::{FlutterLine, LineMotion};

/// Belts slip and rubber wears: no rate is written down as better known than
/// this, in percent. Practice.
const BEST_TOLERANCE_PERCENT: f64 = 0.3;

/// Why a line says nothing of a part's rate.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotLearnt {
    /// The part is a reel.
    #[error(
        "\"{0}\" is a reel: its rate follows the pack, so no one rate is put on the card; mend \
         hub_mm, tape_um or length_m there instead"
    )]
    FollowsPack(String),
    /// The line is no part's.
    #[error(
        "the line keeps its rate when the speed is trimmed, so it is no part of the transport; \
         choose another line"
    )]
    KeepsRate,
}

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
    ) -> Result<(), NotLearnt> {
        if line.motion == LineMotion::KeepsRate {
            return Err(NotLearnt::KeepsRate);
        }
        let known = self.part(name).cloned();
        let known = known.unwrap_or_else(|| Part::turning(name.trim(), 1.0));
        if known.reel.is_some() {
            return Err(NotLearnt::FollowsPack(known.name));
        }
        let turns = line.hz.0 / f64::from(harmonic.max(1)) / at.deviation.ratio();
        let of_line = 100.0 * line.hz_uncertainty.0 / line.hz.0;
        let tolerance = of_line.hypot(at.uncertainty.0).max(BEST_TOLERANCE_PERCENT);
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
        Ok(())
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
        )
        .unwrap();
        card.learn(
            "idler",
            &line(18.36, 0.05),
            2,
            &at(2.0, 0.5),
            "today".to_owned(),
        )
        .unwrap();
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
        )
        .unwrap();
        let card = card.checked().unwrap();
        let [capstan] = &card.parts[..] else {
            panic!("{card:?}");
        };
        assert_eq!(capstan.diameter_mm, None, "the rate is said once");
        assert_eq!(capstan.normal_percent, Some(0.04));
        assert_eq!(capstan.also, ["flywheel"]);
    }

    #[test]
    fn a_reel_keeps_its_pack_and_what_is_no_part_teaches_nothing() {
        let text = "parts_card = 1\nname = \"a\"\nspeed_cm_s = 4.76\n[[part]]\n\
            name = \"take-up reel\"\nreel = \"take_up\"\nhub_mm = 22\ntape_um = 18\n\
            length_m = 86\n[[part]]\nname = \"capstan\"\nturns_per_second = 6.0\n";
        let mut card = PartsCard::from_toml(text).unwrap();
        let before = card.clone();
        let mut stays = line(6.1, 0.05);
        stays.motion = LineMotion::KeepsRate;
        let reel = NotLearnt::FollowsPack("take-up reel".to_owned());
        for (name, line, why) in [
            ("take-up reel", line(0.5, 0.08), reel),
            ("capstan", stays, NotLearnt::KeepsRate),
        ] {
            let learnt = card.learn(name, &line, 1, &at(0.0, 0.1), "today".to_owned());
            assert_eq!(learnt, Err(why));
            assert_eq!(card, before, "{name}");
        }
    }
}
