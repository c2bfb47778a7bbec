//! Names of machines, as people write them.

/// Whether both name one machine: capitals, spaces and hyphens make no
/// difference, "Deck-9" is "deck 9". No name is nobody's.
pub fn same_machine(one: Option<&str>, other: Option<&str>) -> bool {
    one.zip(other)
        .map(|(one, other)| (plain(one), plain(other)))
        .is_some_and(|(one, other)| one == other && !one.is_empty())
}

/// Letters and digits alone, unless there are none.
fn plain(name: &str) -> String {
    let lower = name.trim().to_lowercase();
    let letters: String = lower.chars().filter(|it| it.is_alphanumeric()).collect();
    if letters.is_empty() { lower } else { letters }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_machine_is_known_however_its_name_is_written() {
        for other in ["deck 9", " Deck-9", "DECK_9", "deck9 "] {
            assert!(same_machine(Some("deck9"), Some(other)), "{other}");
        }
        for other in ["deck 19", "deck", "", "-"] {
            assert!(!same_machine(Some("deck9"), Some(other)), "{other}");
        }
        assert!(!same_machine(Some("+"), Some("-")));
        assert!(!same_machine(Some(""), Some("")) && !same_machine(Some(" "), Some("")));
        assert!(!same_machine(None, None) && !same_machine(Some("deck9"), None));
    }
}
