//! Keeps what the system's sound libraries write to standard error away from
//! the user: they speak to nobody in particular while devices are only being
//! looked at, and a line of theirs would tear a screen.

/// While it lives, standard error goes nowhere; then it is what it was.
/// Guards may be nested as long as the inner ends first.
#[must_use = "standard error is quiet only while the guard lives"]
pub struct QuietStderr {
    #[cfg(unix)]
    before: Option<std::os::fd::OwnedFd>,
}

#[cfg(unix)]
impl QuietStderr {
    /// Silences standard error. Where that cannot be done it stays as it is:
    /// noise is no reason to stop.
    pub fn start() -> Self {
        let silenced = || -> std::io::Result<std::os::fd::OwnedFd> {
            let before = rustix::io::fcntl_dupfd_cloexec(rustix::stdio::stderr(), 3)?;
            let nowhere = std::fs::File::options().write(true).open("/dev/null")?;
            rustix::stdio::dup2_stderr(&nowhere)?;
            Ok(before)
        };
        Self {
            before: silenced().ok(),
        }
    }
}

#[cfg(unix)]
impl Drop for QuietStderr {
    fn drop(&mut self) {
        if let Some(before) = &self.before {
            // Nothing can be said about a standard error that cannot be had
            // back.
            let _ = rustix::stdio::dup2_stderr(before);
        }
    }
}

#[cfg(not(unix))]
impl QuietStderr {
    /// Nothing needs silencing on this system.
    pub fn start() -> Self {
        Self {}
    }
}
