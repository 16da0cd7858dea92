//! Rules of the entry function.

use fitwright_plugin_abi as abi;

use super::{Found, Kept, found};
use crate::plugin::manifest::Version;
use crate::plugin::worker::Workers;

/// Hosts too old, too new, and of one minor version more.
pub(super) fn rules(workers: &Workers) -> Vec<Found> {
    let none = |low: (u32, u32), high: (u32, u32)| match workers
        .probe(abi::version(low.0, low.1), abi::version(high.0, high.1))
    {
        Err(e) => Kept::No(e.to_string()),
        Ok((abi::FITW_PLUGIN_E_VERSION, version)) => {
            Kept::Yes(format!("names {} as its highest", Version::of_code(version)))
        }
        Ok((state, version)) => Kept::No(format!(
            "state {state}, version {}; FITW_PLUGIN_E_VERSION is due",
            Version::of_code(version)
        )),
    };
    let own = Version::own();
    let next = match workers.probe(abi::version(1, 0), own.code() + 1) {
        Err(e) => Kept::No(e.to_string()),
        Ok((abi::FITW_PLUGIN_OK, version)) if version >> 16 == u32::from(own.major) => {
            Kept::Yes(format!("chooses {}", Version::of_code(version)))
        }
        Ok((state, version)) => {
            Kept::No(format!("state {state}, version {}", Version::of_code(version)))
        }
    };
    vec![
        found("refuses a host that is too old (0.1 to 0.9)", "", none((0, 1), (0, 9))),
        found("refuses a host that is too new (9.0 to 9.9)", "", none((9, 0), (9, 9))),
        found("serves a host that knows one version more", "", next),
    ]
}
