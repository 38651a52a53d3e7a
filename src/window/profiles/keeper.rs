//! The shelf as the window sees it: looked at and written to in the background, with what was
//! done to it, so that it can be undone.

use std::collections::VecDeque;
use std::path::PathBuf;

use crate::document::profile::{Evidence, Profile, ProfilePool, Put};
use crate::document::report::profile as report;
use crate::files::output::{Replace, write_profile};
use crate::files::shelf::{self, Done, Listing, NoProfile, Shelf};
use crate::window::jobs::{Job, Latest, Outcome, Wake};

/// A profile that is on show.
#[derive(Debug)]
pub struct Opened {
    /// Its file's name on the shelf.
    pub file: String,
    /// The profile, and what its sessions say together; or why it can't be read.
    pub content: Result<(Profile, ProfilePool), String>,
}

/// What was found on the shelf.
#[derive(Debug)]
pub struct Looked {
    /// All of it; or why it can't be looked at.
    pub listing: Result<Listing, String>,
    /// The profiles that were asked for.
    pub opened: Vec<Opened>,
}

impl Looked {
    /// One of the profiles that were asked for.
    pub fn opened(&self, file: &str) -> Option<&Opened> {
        self.opened.iter().find(|one| one.file == file)
    }
}

/// Something done to the shelf that can be undone.
#[derive(Debug, Clone)]
struct Step {
    file: String,
    put: Put,
    words: String,
}

/// What a deed is part of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    New,
    Undo,
    Redo,
}

/// Something to be done to the shelf.
#[derive(Debug)]
pub enum Deed {
    /// Make, change or take away a profile; what it is called for undo.
    Put(Option<String>, Box<Put>, String),
    /// Keep a session in a profile: that of this file, else that of this name, which is made if
    /// it isn't there.
    Keep(Option<String>, String, Box<Evidence>),
    /// Take a file onto the shelf.
    Import(PathBuf),
    /// Write a profile to a file elsewhere.
    Export(String, PathBuf),
}

/// What came of a deed.
#[derive(Debug)]
struct Did {
    /// What can be undone, if anything.
    step: Option<Step>,
    /// What to say.
    said: String,
}

/// News for the person.
#[derive(Debug)]
pub struct News {
    /// What to say.
    pub said: String,
    /// The profile that it is about, if it is there now.
    pub file: Option<String>,
}

/// The shelf as the window sees it.
#[derive(Default)]
pub struct Keeper {
    own: Option<PathBuf>,
    shelf: Option<Shelf>,
    wanted: Vec<String>,
    round: u64,
    looked: Latest<u64, Looked>,
    waiting: VecDeque<(Deed, Way)>,
    running: Option<(Way, Job<Result<Did, String>>)>,
    done: Vec<Step>,
    undone: Vec<Step>,
}

impl Keeper {
    /// A keeper of the shelf in this folder.
    pub fn of(folder: Option<PathBuf>) -> Self {
        Self {
            shelf: folder.clone().map(Shelf::new),
            own: folder,
            ..Self::default()
        }
    }

    /// Where the shelf is.
    pub fn folder(&self) -> Option<&std::path::Path> {
        self.shelf.as_ref().map(Shelf::folder)
    }

    /// Whether another shelf than the person's own is looked at.
    pub fn is_lent(&self) -> bool {
        self.folder() != self.own.as_deref()
    }

    /// Looks at another shelf, or at the person's own again.
    pub fn look_at(&mut self, folder: Option<PathBuf>) {
        let own = self.own.clone();
        let round = self.round + 1;
        *self = Self::of(folder.or_else(|| own.clone()));
        self.own = own;
        self.round = round;
    }

    /// Which profiles are on show.
    pub fn want(&mut self, files: Vec<String>) {
        if self.wanted != files {
            self.wanted = files;
            self.look_again();
        }
    }

    /// The shelf may have changed.
    pub fn look_again(&mut self) {
        self.round += 1;
    }

    /// What was found last, if anything yet.
    pub fn looked(&self) -> Option<&Looked> {
        self.looked.shown().map(AsRef::as_ref)
    }

    /// Whether something is being read or written.
    pub fn is_busy(&self) -> bool {
        self.running.is_some() || !self.waiting.is_empty() || !self.looked.is_current(self.round)
    }

    /// What undo would take back.
    pub fn undo_label(&self) -> Option<&str> {
        self.done.last().map(|step| step.words.as_str())
    }

    /// What redo would bring back.
    pub fn redo_label(&self) -> Option<&str> {
        self.undone.last().map(|step| step.words.as_str())
    }

    /// Does something to the shelf, once all before it is done.
    pub fn ask(&mut self, deed: Deed) {
        self.waiting.push_back((deed, Way::New));
    }

    /// Undoes the last deed.
    pub fn undo(&mut self) {
        if self.is_idle()
            && let Some(step) = self.done.pop()
        {
            let put = Box::new(step.put.undone());
            let deed = Deed::Put(Some(step.file), put, step.words);
            self.waiting.push_back((deed, Way::Undo));
        }
    }

    /// Does again what was undone.
    pub fn redo(&mut self) {
        if self.is_idle()
            && let Some(step) = self.undone.pop()
        {
            let put = Box::new(step.put.undone());
            let deed = Deed::Put(Some(step.file), put, step.words);
            self.waiting.push_back((deed, Way::Redo));
        }
    }

    fn is_idle(&self) -> bool {
        self.running.is_none() && self.waiting.is_empty()
    }

    /// Looks after the work in the background; once a frame. `looking`: the shelf is on show.
    pub fn tend(&mut self, wake: &Wake, looking: bool) -> Option<News> {
        let news = self.finish();
        if self.running.is_none()
            && let Some(shelf) = self.shelf.clone()
            && let Some((deed, way)) = self.waiting.pop_front()
        {
            let job = Job::start("write to the shelf", wake, move |_| {
                Ok(perform(&shelf, deed))
            });
            self.running = Some((way, job));
        }
        if looking && let Some(shelf) = self.shelf.clone() {
            let wanted = self.wanted.clone();
            self.looked.ask(self.round, || {
                Job::start("look at the shelf", wake, move |_| {
                    Ok(look(&shelf, &wanted))
                })
            });
        }
        news
    }

    fn finish(&mut self) -> Option<News> {
        let (way, job) = self.running.as_ref()?;
        let way = *way;
        let came = match job.poll() {
            Outcome::Working => return None,
            Outcome::Done(came) => came,
            Outcome::Cancelled => Err("That was called off.".into()),
            Outcome::Crashed => Err("Writing to the shelf broke down; please report this.".into()),
        };
        self.running = None;
        self.look_again();
        let did = match came {
            Ok(did) => did,
            Err(said) => return Some(News { said, file: None }),
        };
        let mut file = None;
        if let Some(step) = did.step {
            file = step.put.after.is_some().then(|| step.file.clone());
            match way {
                Way::New => {
                    self.done.push(step);
                    self.undone.clear();
                }
                Way::Undo => self.undone.push(step),
                Way::Redo => self.done.push(step),
            }
        }
        Some(News {
            said: did.said,
            file,
        })
    }
}

fn look(shelf: &Shelf, wanted: &[String]) -> Looked {
    let opened = |file: &String| Opened {
        file: file.clone(),
        content: shelf
            .read(file)
            .map(|profile| {
                let pool = ProfilePool::of(&profile, None);
                (profile, pool)
            })
            .map_err(|error| error.to_string()),
    };
    Looked {
        listing: shelf.list().map_err(|error| error.to_string()),
        opened: wanted.iter().map(opened).collect(),
    }
}

fn perform(shelf: &Shelf, deed: Deed) -> Result<Did, String> {
    match deed {
        Deed::Put(file, put, words) => put_down(shelf, file, *put, words, None),
        Deed::Keep(file, name, evidence) => keep(shelf, file, &name, *evidence),
        Deed::Import(path) => import(shelf, path),
        Deed::Export(file, to) => {
            let profile = shelf.read(&file).map_err(|error| error.to_string())?;
            write_profile(&to, &profile, Replace::Said).map_err(|error| error.to_string())?;
            Ok(Did {
                step: None,
                said: format!("{} written", to.display()),
            })
        }
    }
}

fn put_down(
    shelf: &Shelf,
    file: Option<String>,
    put: Put,
    words: String,
    said: Option<String>,
) -> Result<Did, String> {
    let Done {
        file, conflicts, ..
    } = shelf
        .put(file.as_deref(), &put)
        .map_err(|error| error.to_string())?;
    let mut said = said.unwrap_or_default();
    for conflict in &conflicts {
        said.push_str(report::conflict(conflict).trim());
        said.push(' ');
    }
    Ok(Did {
        step: Some(Step { file, put, words }),
        said,
    })
}

/// The profile that is meant, as it is now.
fn there(
    shelf: &Shelf,
    file: Option<String>,
    name: &str,
) -> Result<Option<(String, Profile)>, String> {
    let file = match file {
        Some(file) => file,
        None => {
            let listing = shelf.list().map_err(|error| error.to_string())?;
            match listing.find(name) {
                Ok((file, _)) => file.clone(),
                Err(NoProfile::None { .. }) => return Ok(None),
                Err(error) => return Err(error.to_string()),
            }
        }
    };
    let profile = shelf.read(&file).map_err(|error| error.to_string())?;
    Ok(Some((file, profile)))
}

fn keep(
    shelf: &Shelf,
    file: Option<String>,
    name: &str,
    evidence: Evidence,
) -> Result<Did, String> {
    let found = there(shelf, file, name)?;
    let before = found.as_ref().map(|(_, profile)| profile.clone());
    let fresh = Profile::named(name);
    let base = before.as_ref().unwrap_or(&fresh);
    let anew = base.find(&evidence.mark()).is_some();
    let after = base.with(evidence);
    let count = match (anew, after.evidence.len()) {
        (true, _) => "it was there and has been replaced".to_owned(),
        (false, 1) => "its first session".to_owned(),
        (false, count) => format!("{count} sessions now"),
    };
    let said = format!("Kept in the profile {}: {count}. ", after.name);
    let words = format!("keep in {}", after.name);
    let put = Put {
        before,
        after: Some(after),
    };
    put_down(shelf, found.map(|(file, _)| file), put, words, Some(said))
}

/// What a file brings is taken over into the profile of its name, or becomes one.
fn import(shelf: &Shelf, path: PathBuf) -> Result<Did, String> {
    let brought = shelf::read_profile(&path).map_err(|error| error.to_string())?;
    let name = brought.name.clone();
    let said = format!("{name} is on the shelf. ");
    let words = format!("take in {name}");
    let found = there(shelf, None, &name)?;
    let put = match &found {
        None => Put {
            before: None,
            after: Some(brought),
        },
        Some((file, is)) => {
            let seen = Put {
                before: Some(Profile::named(&name)),
                after: Some(brought),
            };
            let done = shelf
                .put(Some(file), &seen)
                .map_err(|error| error.to_string())?;
            let mut did = Did {
                step: Some(Step {
                    file: file.clone(),
                    put: Put {
                        before: Some(is.clone()),
                        after: done.profile,
                    },
                    words,
                }),
                said,
            };
            for conflict in &done.conflicts {
                did.said.push_str(report::conflict(conflict).trim());
            }
            return Ok(did);
        }
    };
    put_down(shelf, None, put, words, Some(said))
}
