//! Cards of kinds of machine that come with the program.

use std::sync::LazyLock;

use super::card::PartsCard;

const TEXTS: [&str; 7] = [
    include_str!("../../../assets/parts/portable.toml"),
    include_str!("../../../assets/parts/deck.toml"),
    include_str!("../../../assets/parts/dual_capstan.toml"),
    include_str!("../../../assets/parts/microcassette.toml"),
    include_str!("../../../assets/parts/open_reel_9.5.toml"),
    include_str!("../../../assets/parts/open_reel_19.toml"),
    include_str!("../../../assets/parts/open_reel_38.toml"),
];

/// All of them. Their tolerances are wide, as little as is known of a machine
/// that nobody has looked at: a hint.
pub fn generic() -> &'static [PartsCard] {
    static CARDS: LazyLock<Vec<PartsCard>> = LazyLock::new(|| {
        let read = TEXTS.iter().map(|text| PartsCard::from_toml(text));
        // Each is read by a test, so none is left out.
        read.filter_map(Result::ok).collect()
    });
    &CARDS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_generic_card_is_read() {
        for text in TEXTS {
            let card = PartsCard::from_toml(text).unwrap();
            assert!(card.generic && card.parts.len() >= 5, "{}", card.name);
            assert!(!card.rates(None).is_empty());
        }
        assert_eq!(generic().len(), TEXTS.len());
    }
}
