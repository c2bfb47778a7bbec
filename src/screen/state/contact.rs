//! What the keys do to the contact check, and how its results are taken.

use std::sync::Arc;

use super::view::View;
use super::{Effect, ScreenState};
use crate::audio::analysis::{Contacting, Request};
use crate::audio::rehearsal_source::BenchCommand;
use crate::readings::contact::ContactReport;

impl ScreenState {
    pub(in crate::screen) fn is_checking_contact(&self) -> bool {
        matches!(self.live.contact, Some(Contacting::Running(_)))
    }

    /// Opens the view and begins, or ends what is under way.
    pub(in crate::screen) fn check_contact(&mut self) -> Vec<Effect> {
        self.view = View::Contact;
        if self.is_checking_contact() {
            return vec![Effect::Ask(Request::EndContact)];
        }
        if !self.is_live() {
            return self.say("nothing to check: nothing new comes in");
        }
        vec![Effect::Ask(Request::BeginContact)]
    }

    /// Lets the simulated hand work the control, and listens.
    pub(in crate::screen) fn work_control(&mut self) -> Vec<Effect> {
        let mut effects = if self.is_checking_contact() {
            Vec::new()
        } else {
            self.check_contact()
        };
        effects.push(Effect::Bench(BenchCommand::WorkControl));
        effects
    }

    /// Stops a check without judging it; where none is under way, goes back
    /// to the bench.
    pub(in crate::screen) fn leave_contact(&mut self) -> Vec<Effect> {
        if self.is_checking_contact() {
            self.message = Some("the check was stopped and not judged; k begins anew".to_owned());
            return vec![Effect::Ask(Request::ForgetContact)];
        }
        self.view = View::Bench;
        Vec::new()
    }

    /// A check is done: it joins those of this sitting, once.
    pub(in crate::screen) fn take_contact(&mut self, report: &Arc<ContactReport>) {
        let known = self.contacts.last();
        if !known.is_some_and(|last| Arc::ptr_eq(last, report)) {
            self.contacts.push(Arc::clone(report));
        }
    }
}
