//! The children that read files: a few stay for pictures, long work gets one of its own.

use std::path::PathBuf;
use std::process::Stdio;
use std::sync::Mutex;
use std::time::Duration;

use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader, Lines};
use tokio::process::{Child, ChildStdin, ChildStdout, Command};
use tokio::sync::{Semaphore, watch};
use tokio::time::timeout;
use tympan_app::Refusal;

use crate::worker::{Ask, Order, Said};

/// Children that draw at the same time.
const DRAWERS: usize = 2;
/// What a child may use beside twice the file's size, MB.
const MEMORY_MB: u64 = 1024;
/// A picture that takes longer is given up.
const PATIENCE: Duration = Duration::from_secs(20);
/// Long work that says nothing for so long is given up.
const SILENCE: Duration = Duration::from_secs(300);
/// How long a child may take to leave off by itself.
const LEAVING: Duration = Duration::from_secs(3);

/// All children.
pub(crate) struct Crew {
    program: PathBuf,
    idle: Mutex<Vec<Hand>>,
    places: Semaphore,
}

struct Hand {
    // Killed when it is dropped.
    _child: Child,
    orders: ChildStdin,
    said: Lines<BufReader<ChildStdout>>,
    memory_mb: u64,
    /// What it has open, for sending it there again.
    last: Option<PathBuf>,
}

impl Hand {
    fn start(program: &PathBuf, memory_mb: u64) -> Result<Self, Refusal> {
        let fail = |e: std::io::Error| {
            Refusal::new(
                format!("the helper that reads files cannot be started: {e}"),
                "start Tympan once more",
            )
        };
        let mut child = Command::new(program)
            .args(["worker", "--memory", &memory_mb.to_string()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .kill_on_drop(true)
            .spawn()
            .map_err(fail)?;
        let (Some(orders), Some(out)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(fail(std::io::Error::other("it has no pipes")));
        };
        Ok(Self {
            _child: child,
            orders,
            said: BufReader::new(out).lines(),
            memory_mb,
            last: None,
        })
    }

    async fn order(&mut self, order: &Order) -> std::io::Result<()> {
        let mut line = serde_json::to_vec(order)?;
        line.push(b'\n');
        self.orders.write_all(&line).await?;
        self.orders.flush().await
    }

    /// The next thing it says; `None` where it has ended.
    async fn next(&mut self) -> Option<Said> {
        let line = self.said.next_line().await.ok()??;
        serde_json::from_str(&line).ok()
    }
}

fn gave_up() -> Refusal {
    Refusal::new(
        "this file asks for more time or memory than a page may",
        "open it in a PDF viewer, print it to a new PDF and drop that one",
    )
}

/// Answers are answers, refusals are errors.
fn settled(said: Said) -> Result<Said, Refusal> {
    match said {
        Said::Refused { message, hint } => Err(Refusal { message, hint }),
        said => Ok(said),
    }
}

fn memory_for(bytes: u64) -> u64 {
    MEMORY_MB + 2 * (bytes >> 20)
}

impl Crew {
    pub(crate) fn new(program: PathBuf) -> Self {
        Self {
            program,
            idle: Mutex::new(Vec::new()),
            places: Semaphore::new(DRAWERS),
        }
    }

    /// A short piece of work on a file of so many bytes.
    ///
    /// # Errors
    /// A [`Refusal`] where the child refuses, dies or takes too long.
    pub(crate) async fn ask(&self, file: &PathBuf, bytes: u64, ask: Ask) -> Result<Said, Refusal> {
        let Ok(_place) = self.places.acquire().await else {
            return Err(gave_up());
        };
        let mut hand = match self.take(file, bytes) {
            Some(hand) => hand,
            None => Hand::start(&self.program, memory_for(bytes))?,
        };
        if hand.order(&Order::Do(Box::new(ask))).await.is_err() {
            return Err(gave_up());
        }
        match timeout(PATIENCE, hand.next()).await {
            Ok(Some(said)) => {
                hand.last = Some(file.clone());
                if let Ok(mut idle) = self.idle.lock() {
                    idle.push(hand);
                }
                settled(said)
            }
            Ok(None) | Err(_) => Err(gave_up()),
        }
    }

    /// An idle child that may use enough memory, if there is one: best the one that has the file
    /// open.
    fn take(&self, file: &PathBuf, bytes: u64) -> Option<Hand> {
        let mut idle = self.idle.lock().ok()?;
        let fit = |hand: &Hand| hand.memory_mb >= memory_for(bytes);
        let knows = |hand: &Hand| hand.last.as_ref() == Some(file);
        let index = idle
            .iter()
            .position(|hand| fit(hand) && knows(hand))
            .or_else(|| idle.iter().position(fit));
        match index {
            Some(index) => Some(idle.swap_remove(index)),
            None => {
                // One that may not use enough makes room for one that may.
                idle.pop();
                None
            }
        }
    }

    /// Sends all idle children home; they would keep removed files open.
    pub(crate) fn dismiss(&self) {
        if let Ok(mut idle) = self.idle.lock() {
            idle.clear();
        }
    }

    /// Long work in a child of its own, with progress, until it is cancelled.
    ///
    /// # Errors
    /// A [`Refusal`] where the child refuses, dies, says nothing for too long, or was cancelled.
    pub(crate) async fn carry_out(
        &self,
        bytes: u64,
        ask: Ask,
        cancel: watch::Receiver<bool>,
        mut progress: impl FnMut(usize, usize) + Send,
    ) -> Result<Said, Refusal> {
        let heard = |said: &Said| {
            if let Said::Progress { done, total } = said {
                progress(*done, *total);
            }
        };
        self.listen(bytes, ask, cancel, LEAVING, heard).await
    }

    /// The same with all that is said meanwhile, for work that ends in its own words where it is
    /// cancelled, and may take so long for that.
    ///
    /// # Errors
    /// As for [`Crew::carry_out`].
    pub(crate) async fn listen(
        &self,
        bytes: u64,
        ask: Ask,
        mut cancel: watch::Receiver<bool>,
        leaving: Duration,
        mut heard: impl FnMut(&Said) + Send,
    ) -> Result<Said, Refusal> {
        let mut hand = Hand::start(&self.program, memory_for(bytes))?;
        if hand.order(&Order::Do(Box::new(ask))).await.is_err() {
            return Err(gave_up());
        }
        loop {
            tokio::select! {
                said = timeout(SILENCE, hand.next()) => match said {
                    Ok(Some(said)) if said.is_passing() => heard(&said),
                    Ok(Some(said)) => return settled(said),
                    Ok(None) | Err(_) => return Err(gave_up()),
                },
                () = async { let _ = cancel.wait_for(|&cancel| cancel).await; } => {
                    let _ = hand.order(&Order::Cancel).await;
                    // It cleans up behind itself if it can.
                    let last = timeout(leaving, async {
                        loop {
                            match hand.next().await {
                                Some(said) if said.is_passing() => heard(&said),
                                other => return other,
                            }
                        }
                    }).await;
                    return match last {
                        Ok(Some(said @ Said::PrintEnded(_))) => Ok(said),
                        _ => Err(Refusal::new("this was cancelled", "start it again when you like")),
                    };
                }
            }
        }
    }
}
