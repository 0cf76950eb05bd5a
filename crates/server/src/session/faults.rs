//! What is done after a fault inside a job.

use super::*;

impl Session {
    /// After a fault: says so, and where the compiler's copies may be torn, makes them again from the texts.
    pub fn recover(&mut self, job: &str, fault: &str, changing: bool) {
        self.log(
            MessageType::ERROR,
            format!("a fault inside the server while working on `{job}`: {fault}"),
        );
        if !std::mem::replace(&mut self.told, true) {
            self.send(Message::Show(
                MessageType::ERROR,
                format!(
                    "Cutwater failed inside while working on `{job}` and goes on; findings may be missing until the next edit. Please report it with the server's log."
                ),
            ));
        }
        if !std::mem::take(&mut self.torn) && !changing {
            return;
        }
        for id in self.roots.keys().copied().collect::<Vec<_>>() {
            let Some(r) = self.roots.get(&id) else {
                continue;
            };
            let texts: Vec<(SmolStr, Arc<str>)> =
                r.db.files()
                    .map(|f| {
                        let path = r.db.path(f).clone();
                        let text = match self.doc_of(r, &path) {
                            Some(d) => Arc::from(d.text.as_str()),
                            None => r.db.text(f).clone(),
                        };
                        (path, text)
                    })
                    .collect();
            let mut db = Db::new(r.db.project_settings().clone());
            db.set_today(r.db.today());
            db.set_baseline(r.db.baseline().cloned());
            for (path, text) in texts {
                db.set_file(&path, text);
            }
            if let Some(r) = self.roots.get_mut(&id) {
                r.db = db;
                // What the syntax says is known without settling; the rest waits for the next edit, as it may
                // be what failed.
                r.dirty = false;
                r.unpublished = true;
                r.unsolved = false;
                r.faulty = true;
            }
            self.publish_root(id);
            if let Some(r) = self.roots.get_mut(&id) {
                r.unpublished = false;
            }
        }
    }

    /// Even recovering failed: nothing more is done before the next edit, which begins anew.
    pub fn give_up(&mut self) {
        self.roots.clear();
        self.orphans = false;
        self.torn = false;
        self.lost = true;
        for d in self.docs.values_mut() {
            d.dirty = false;
        }
        self.log(
            MessageType::ERROR,
            "the server could not recover from a fault; it begins anew with the next edit",
        );
    }
}
