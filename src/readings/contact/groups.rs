//! Moments next to each other that all look like an edge: the best of them is
//! the edge.

use super::edges::Step;

/// A millisecond.
pub(super) const MS: u64 = 12;

/// A moment at which the gain falls, or rises.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub(super) at: u64,
    pub(super) step: Step,
}

/// Edges no further apart than this belong to one group; a group that lasts
/// longer than that is cut.
pub(super) const SAME_EDGE: u64 = 14;
pub(super) const LONGEST_GROUP: u64 = 4 * MS;

/// The best edge of a group that follow each other closely.
#[derive(Default)]
pub(super) struct Group {
    best: Option<Edge>,
    begun: u64,
    last: u64,
}

impl Group {
    /// Takes an edge; hands out the best one of the group before, when that
    /// is over.
    pub(super) fn take(&mut self, edge: Option<Edge>, now: u64) -> Option<Edge> {
        let over = self.best.is_some()
            && (now > self.last + SAME_EDGE || now > self.begun + LONGEST_GROUP);
        let done = if over { self.best.take() } else { None };
        if let Some(edge) = edge {
            if self.best.is_none() {
                self.begun = now;
            }
            self.last = now;
            if self
                .best
                .is_none_or(|best| edge.step.evidence > best.step.evidence)
            {
                self.best = Some(edge);
            }
        }
        done
    }
}
