//! Passwords of the demo's people: made by chance for each folder, told on standard output and kept in a file beside
//! the ledger, since all of it is invented. A real ledger's passwords are nowhere but in people's heads.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use rayon::prelude::*;

use super::DemoError;
use super::story::NewPerson;
use crate::app::house::HouseError;
use crate::people::password;

/// The file in the demo's folder that lists the sign-ins.
pub const FILE: &str = "demo-sign-ins.txt";
/// No list of sign-ins is longer, in bytes.
const MOST: u64 = 64 * 1024;

/// How somebody of the demo signs in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SignIn {
    /// User name.
    pub user_name: String,
    /// Full name.
    pub name: String,
    /// Staff number.
    pub number: String,
    /// Roles in words.
    pub roles: String,
    /// Password.
    pub password: String,
}

/// A sign-in with the password's hash.
pub(super) struct Hashed {
    pub sign_in: SignIn,
    pub phc: String,
}

/// Short words that are easy to type: 64 of them, six bits each.
const WORDS: [&str; 64] = [
    "anchor", "barge", "beacon", "birch", "bobbin", "bucket", "cedar", "chalk", "cleat", "cobble",
    "copper", "crane", "current", "delta", "drift", "ember", "fathom", "fender", "ferry", "flint",
    "galley", "gravel", "gull", "hamlet", "harbour", "hazel", "hollow", "island", "jetty", "kelp",
    "ketch", "ladder", "lagoon", "lantern", "ledge", "linen", "locker", "maple", "marsh", "meadow",
    "mortar", "osprey", "paddle", "pebble", "pier", "pulley", "quartz", "ribbon", "rigging",
    "rudder", "saddle", "shingle", "slate", "slipway", "spindle", "teal", "thicket", "tiller",
    "timber", "towpath", "vane", "walnut", "willow", "winch",
];

/// Four words and two digits: some 30 bits, for invented data on one's own machine.
fn password() -> Result<String, DemoError> {
    let mut random = [0_u8; 5];
    getrandom::fill(&mut random)
        .map_err(|e| DemoError::SignIns(io::Error::other(e.to_string())))?;
    let words: Vec<&str> = random[..4]
        .iter()
        .map(|b| WORDS[usize::from(*b) % WORDS.len()])
        .collect();
    Ok(format!("{}-{:02}", words.join("-"), random[4] % 100))
}

/// Makes a password for everybody and hashes it, on all processors.
pub(super) async fn make(people: &[NewPerson]) -> Result<Vec<Hashed>, DemoError> {
    let mut all = Vec::with_capacity(people.len());
    for person in people {
        let roles: Vec<&str> = person.roles.iter().map(|r| r.title()).collect();
        all.push(SignIn {
            user_name: person.user_name.clone(),
            name: person.name.clone(),
            number: person.number.clone(),
            roles: roles.join(", "),
            password: password()?,
        });
    }
    let hashed = tokio::task::spawn_blocking(move || {
        all.into_par_iter()
            .map(|sign_in| {
                let phc = password::hash(&sign_in.password, &sign_in.user_name);
                let phc = phc.map_err(HouseError::from)?;
                Ok(Hashed { sign_in, phc })
            })
            .collect()
    });
    hashed
        .await
        .map_err(|e| DemoError::SignIns(io::Error::other(e)))?
}

const HEAD: &str = "\
# Sign-ins of a demo. The people, their numbers and everything in this ledger are invented, and so are its times.
# A real ledger never has such a file.
";

/// Writes the list, readable for the owner only.
pub(super) fn write(folder: &Path, all: &[SignIn]) -> io::Result<()> {
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(folder.join(FILE))?;
    file.write_all(HEAD.as_bytes())?;
    for one in all {
        let SignIn {
            user_name,
            name,
            number,
            roles,
            password,
        } = one;
        writeln!(file, "{user_name}\t{name}\t{number}\t{roles}\t{password}")?;
    }
    file.sync_all()
}

/// The list of a folder that has one; lines that do not fit are left out.
///
/// # Errors
/// When it cannot be read, or is far too long to be one.
pub fn kept(folder: &Path) -> io::Result<Vec<SignIn>> {
    let path = folder.join(FILE);
    if fs::metadata(&path)?.len() > MOST {
        return Err(io::Error::other("the list of sign-ins is too long"));
    }
    let text = fs::read_to_string(path)?;
    let lines = text.lines().filter(|l| !l.starts_with('#'));
    Ok(lines
        .filter_map(|line| {
            let mut parts = line.split('\t').map(str::to_owned);
            Some(SignIn {
                user_name: parts.next()?,
                name: parts.next()?,
                number: parts.next()?,
                roles: parts.next()?,
                password: parts.next()?,
            })
        })
        .collect())
}
