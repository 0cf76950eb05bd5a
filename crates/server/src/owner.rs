//! The thread that owns the session: jobs in, one at a time, in order of arrival.
//!
//! When no job waits it does what was put off: publish findings, then solve. Solving is given up when a job
//! arrives and taken up again after it; what was solved by then is kept. So that a stream of requests cannot keep a duty from ever
//! being solved, requests may interrupt only a few times in a row; edits always may, as they change the question.
//!
//! Every job runs behind a barrier: a fault in it is logged, its request answered as an error, and the session is made
//! again from the texts.

use crate::session::Session;
use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::oneshot;
use tower_lsp::jsonrpc;

/// The longest time a steady stream of edits can put off publishing.
const LONGEST_SILENCE: Duration = Duration::from_millis(250);

/// How often in a row requests may interrupt solving.
const MOST_INTERRUPTIONS: u32 = 8;

/// Stack of the owner's thread. Nesting in texts is limited, and evaluation grows its own; this is plenty.
const STACK: usize = 16 << 20;

type Run = Box<dyn FnOnce(&mut Session) + Send>;

struct Job {
    name: &'static str,
    /// Changes something, as against: only asks.
    edits: bool,
    run: Run,
}

#[derive(Default)]
struct Queue {
    jobs: Mutex<Waiting>,
    arrived: Condvar,
    /// Tells the solver to stop.
    interrupt: Arc<AtomicBool>,
}

#[derive(Default)]
struct Waiting {
    list: VecDeque<Job>,
    /// Requests, too, stop the solver.
    patient: bool,
    stopped: bool,
}

impl Queue {
    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.jobs.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn push(&self, job: Job) {
        let mut w = self.lock();
        if job.edits || !w.patient {
            self.interrupt.store(true, Ordering::Relaxed);
        }
        w.list.push_back(job);
        drop(w);
        self.arrived.notify_one();
    }
}

/// A handle on the owner's thread.
#[derive(Clone)]
pub(crate) struct Owner {
    queue: Arc<Queue>,
}

impl Owner {
    /// Starts the thread.
    pub fn start() -> Self {
        let queue = Arc::new(Queue::default());
        let own = queue.clone();
        let thread = std::thread::Builder::new()
            .name("cutwater-owner".to_owned())
            .stack_size(STACK);
        // Where no thread can be started every request is answered with an error.
        if thread.spawn(move || run(&own)).is_err() {
            queue.lock().stopped = true;
        }
        Self { queue }
    }

    /// Ends the thread after the job at hand.
    pub fn stop(&self) {
        let mut w = self.queue.lock();
        w.stopped = true;
        w.list.clear();
        self.queue.interrupt.store(true, Ordering::Relaxed);
        drop(w);
        self.queue.arrived.notify_one();
    }

    /// Hands over a change. Never waits.
    pub fn edit(&self, name: &'static str, run: impl FnOnce(&mut Session) + Send + 'static) {
        self.queue.push(Job {
            name,
            edits: true,
            run: Box::new(run),
        });
    }

    /// Hands over a question, at once, and then waits for the answer.
    ///
    /// # Errors
    /// An internal error where answering failed.
    pub fn ask<T, F>(
        &self,
        name: &'static str,
        run: F,
    ) -> impl Future<Output = jsonrpc::Result<T>> + Send + use<T, F>
    where
        T: Send + 'static,
        F: FnOnce(&mut Session) -> T + Send + 'static,
    {
        let (tx, rx) = oneshot::channel();
        if !self.queue.lock().stopped {
            self.queue.push(Job {
                name,
                edits: false,
                run: Box::new(move |session| {
                    // The client may have withdrawn the question by now.
                    if !tx.is_closed() {
                        let _ = tx.send(run(session));
                    }
                }),
            });
        } else {
            drop(tx);
        }
        async move {
            rx.await.map_err(|_| {
                let mut e = jsonrpc::Error::internal_error();
                e.message = format!("`{name}` failed inside the server; its log says how").into();
                e
            })
        }
    }
}

fn run(queue: &Queue) {
    let mut session = Session::new();
    let mut interruptions = 0;
    let mut quiet_since = Instant::now();
    loop {
        let job = {
            let mut w = queue.lock();
            loop {
                if w.stopped {
                    return;
                }
                if let Some(job) = w.list.pop_front() {
                    break Some(job);
                }
                if session.has_work() {
                    // Set under the lock, so that no arrival is missed.
                    queue.interrupt.store(false, Ordering::Relaxed);
                    w.patient = interruptions >= MOST_INTERRUPTIONS;
                    break None;
                }
                w = queue
                    .arrived
                    .wait(w)
                    .unwrap_or_else(PoisonError::into_inner);
            }
        };
        let Some(job) = job else {
            if session.is_unpublished() {
                guarded(&mut session, "publishing", false, Session::publish);
                quiet_since = Instant::now();
            } else {
                let flag = queue.interrupt.clone();
                guarded(&mut session, "solving", false, |s| s.solve(&flag));
                if queue.interrupt.load(Ordering::Relaxed) {
                    interruptions += 1;
                } else {
                    interruptions = 0;
                }
            }
            continue;
        };
        // What is asked after an edit is answered with that edit applied and its findings published.
        let overdue = !job.edits || quiet_since.elapsed() > LONGEST_SILENCE;
        if overdue && session.is_unpublished() {
            guarded(&mut session, "publishing", false, Session::publish);
            quiet_since = Instant::now();
        }
        if job.edits {
            interruptions = 0;
            if !session.is_unpublished() {
                quiet_since = Instant::now();
            }
        }
        guarded(&mut session, job.name, job.edits, job.run);
    }
}

/// Runs something behind the barrier. `changing`: it may leave the session half changed.
fn guarded(session: &mut Session, name: &str, changing: bool, run: impl FnOnce(&mut Session)) {
    let result = catch_unwind(AssertUnwindSafe(|| run(session)));
    if let Err(fault) = result {
        let text = fault
            .downcast_ref::<&str>()
            .map(|s| (*s).to_owned())
            .or_else(|| fault.downcast_ref::<String>().cloned())
            .unwrap_or_else(|| "no message".to_owned());
        let again = catch_unwind(AssertUnwindSafe(|| session.recover(name, &text, changing)));
        if again.is_err() {
            session.give_up();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn block_on<F: Future>(f: F) -> F::Output {
        tokio::runtime::Builder::new_current_thread()
            .build()
            .unwrap()
            .block_on(f)
    }

    #[test]
    fn a_fault_is_answered_as_an_error_and_the_next_question_is_answered() {
        let owner = Owner::start();
        let failed = block_on(owner.ask("first", |_| -> u8 { panic!("on purpose") }));
        let error = failed.unwrap_err();
        assert_eq!(error.code, jsonrpc::ErrorCode::InternalError);
        assert!(error.message.contains("first"), "{error:?}");
        owner.edit("second", |_| panic!("on purpose, in an edit"));
        assert_eq!(block_on(owner.ask("third", |_| 7)), Ok(7));
        owner.stop();
    }

    #[test]
    fn jobs_run_in_the_order_they_were_handed_over() {
        let owner = Owner::start();
        let seen = Arc::new(Mutex::new(Vec::new()));
        for k in 0..500 {
            let seen = seen.clone();
            owner.edit("push", move |_| seen.lock().unwrap().push(k));
        }
        let at_question = seen.clone();
        let n = block_on(owner.ask("count", move |_| at_question.lock().unwrap().len()));
        assert_eq!(n, Ok(500));
        assert!(seen.lock().unwrap().is_sorted());
        owner.stop();
    }

    #[test]
    fn a_withdrawn_question_is_not_worked_on() {
        let owner = Owner::start();
        let ran = Arc::new(AtomicBool::new(false));
        let (go, gate) = std::sync::mpsc::channel::<()>();
        owner.edit("hold", move |_| {
            let _ = gate.recv();
        });
        let flag = ran.clone();
        drop(owner.ask("withdrawn", move |_| flag.store(true, Ordering::SeqCst)));
        go.send(()).unwrap();
        assert_eq!(block_on(owner.ask("after", |_| ())), Ok(()));
        assert!(!ran.load(Ordering::SeqCst));
        owner.stop();
    }

    #[test]
    fn after_a_fault_in_an_edit_the_session_goes_on_from_its_texts() {
        use crate::outgoing::{Message, Outgoing};
        use std::str::FromStr;
        use tower_lsp::ls_types::Uri;
        let owner = Owner::start();
        let (out, mut queue) = Outgoing::new();
        owner.edit("connect", move |s| s.connect(out));
        let uri = Uri::from_str("untitled:x").unwrap();
        let doc = uri.clone();
        owner.edit("open", move |s| s.open(doc, "let a = 5 in\n".to_owned(), 1));
        owner.edit("fault", |_| panic!("on purpose"));
        // What was open is known still, and the next edit is checked as ever.
        let doc = uri.clone();
        let names = owner.ask("look", move |s| {
            s.look(&doc, |h| cutwater_editor::symbols(h.db, h.file).len())
        });
        assert_eq!(block_on(names), Ok(Some(1)));
        let doc = uri.clone();
        owner.edit("change", move |s| {
            let all = tower_lsp::ls_types::TextDocumentContentChangeEvent {
                range: None,
                range_length: None,
                text: "let a = 5 inn\n".to_owned(),
            };
            s.change(&doc, 2, vec![all]);
        });
        assert_eq!(block_on(owner.ask("wait", |_| ())), Ok(()));
        owner.stop();
        let (mut told, mut logged, mut last) = (0, 0, None);
        while let Ok(m) = queue.try_recv() {
            match m {
                Message::Show(..) => told += 1,
                Message::Log(_, text) => logged += usize::from(text.contains("on purpose")),
                Message::Publish(_, list, version) => last = Some((version, list.len())),
                _ => {}
            }
        }
        assert_eq!((told, logged, last), (1, 1, Some((Some(2), 1))));
    }

    #[test]
    fn after_the_end_a_question_is_answered_with_an_error() {
        let owner = Owner::start();
        owner.stop();
        assert!(block_on(owner.ask("late", |_| ())).is_err());
    }
}
