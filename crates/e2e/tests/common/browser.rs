//! A real browser that does what a visitor does.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use chromiumoxide::browser::{Browser, BrowserConfig};
use chromiumoxide::cdp::browser_protocol::browser::{
    SetDownloadBehaviorBehavior, SetDownloadBehaviorParams,
};
use chromiumoxide::cdp::browser_protocol::dom::SetFileInputFilesParams;
use chromiumoxide::cdp::browser_protocol::emulation::{
    MediaFeature, SetDeviceMetricsOverrideParams,
};
use chromiumoxide::cdp::browser_protocol::input::{
    DispatchDragEventParams, DispatchDragEventType, DispatchKeyEventParams, DispatchKeyEventType,
    DispatchMouseEventParams, DispatchMouseEventType, DragData, DragDataItem, MouseButton,
};
use chromiumoxide::cdp::browser_protocol::log::{EnableParams, EventEntryAdded};
use chromiumoxide::cdp::browser_protocol::page::CaptureScreenshotFormat;
use chromiumoxide::cdp::js_protocol::runtime::EventExceptionThrown;
use chromiumoxide::page::ScreenshotParams;
use futures_util::StreamExt;
use serde::de::DeserializeOwned;
use serde_json::Value;
use tempfile::TempDir;

use super::target;

/// How long a page may take to come to a state.
const PATIENCE: Duration = Duration::from_secs(40);

pub struct Visitor {
    browser: Browser,
    pub page: chromiumoxide::Page,
    pub downloads: TempDir,
    _profile: TempDir,
    wrong: Arc<Mutex<Vec<String>>>,
}

impl Visitor {
    pub async fn come() -> Self {
        let profile = tempfile::tempdir().expect("a folder");
        let downloads = tempfile::tempdir().expect("a folder");
        let config = BrowserConfig::builder()
            .new_headless_mode()
            .no_sandbox()
            .user_data_dir(profile.path())
            .viewport(None)
            .window_size(1440, 1000)
            .launch_timeout(PATIENCE)
            .request_timeout(PATIENCE)
            .build()
            .unwrap_or_else(|e| panic!("{e}: install it with apt-get install chromium"));
        let (browser, mut handler) = Browser::launch(config)
            .await
            .expect("the browser starts (apt-get install chromium)");
        tokio::spawn(async move { while handler.next().await.is_some() {} });
        let page = browser.new_page("about:blank").await.expect("a page");
        let allow = SetDownloadBehaviorParams::builder()
            .behavior(SetDownloadBehaviorBehavior::Allow)
            .download_path(downloads.path().display().to_string())
            .build()
            .expect("all is given");
        browser.execute(allow).await.expect("downloads are allowed");
        let wrong = Arc::new(Mutex::new(Vec::new()));
        listen(&page, &wrong).await;
        let visitor = Self {
            browser,
            page,
            downloads,
            _profile: profile,
            wrong,
        };
        visitor.size(1440, 1000).await;
        visitor
    }

    pub async fn size(&self, width: i64, height: i64) {
        let size = SetDeviceMetricsOverrideParams::new(width, height, 1.0, false);
        self.page.execute(size).await.expect("a size");
    }

    pub async fn scheme(&self, scheme: &str) {
        let feature = MediaFeature::new("prefers-color-scheme", scheme);
        let features = vec![feature];
        self.page
            .emulate_media_features(features)
            .await
            .expect("a scheme");
    }

    pub async fn go(&self, address: &str) {
        self.page.goto(address).await.expect("the page loads");
    }

    pub async fn ask<T: DeserializeOwned>(&self, script: &str) -> T {
        let answer = self.page.evaluate(script).await;
        let answer = answer.unwrap_or_else(|e| panic!("{script}: {e}"));
        answer
            .into_value()
            .unwrap_or_else(|e| panic!("{script}: {e}"))
    }

    /// Waits until an expression is true.
    pub async fn until(&self, script: &str) {
        let began = Instant::now();
        loop {
            let is = self.page.evaluate(format!("Boolean({script})")).await;
            if is.is_ok_and(|is| is.into_value().unwrap_or(false)) {
                return;
            }
            if began.elapsed() > PATIENCE {
                let text: String = self.ask("document.body.innerText").await;
                panic!("it does not come to {script}; the page says:\n{text}");
            }
            tokio::time::sleep(Duration::from_millis(40)).await;
        }
    }

    /// The words of an element.
    pub async fn text(&self, selector: &str) -> String {
        self.ask(&format!("document.querySelector({selector:?}).textContent"))
            .await
    }

    /// Clicks once nothing moves any more: letters that arrive late push things about.
    pub async fn click(&self, selector: &str) {
        self.until("document.readyState === 'complete' && document.fonts.status === 'loaded'")
            .await;
        // A page that has just come may still exchange its nodes.
        for _ in 0..20 {
            if let Ok(element) = self.page.find_element(selector).await
                && element.click().await.is_ok()
            {
                return;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("{selector} cannot be clicked");
    }

    pub async fn middle(&self, selector: &str) -> (f64, f64) {
        let script = format!(
            "(() => {{ const e = document.querySelector({selector:?}); e.scrollIntoView({{block: 'center'}}); \
             const b = e.getBoundingClientRect(); return [b.left + b.width / 2, b.top + b.height / 2]; }})()"
        );
        self.ask(&script).await
    }

    /// Drops files from the desk of the visitor's machine onto an element.
    pub async fn drop_files(&self, selector: &str, files: &[&Path]) {
        let (x, y) = self.middle(selector).await;
        let names = files.iter().map(|file| file.display().to_string());
        let data = DragData {
            // The list must not be empty; what a file manager drags has such words, too.
            items: vec![DragDataItem::new("text/plain", "")],
            files: Some(names.collect()),
            drag_operations_mask: 1,
        };
        for kind in [
            DispatchDragEventType::DragEnter,
            DispatchDragEventType::DragOver,
            DispatchDragEventType::Drop,
        ] {
            let event = DispatchDragEventParams::new(kind, x, y, data.clone());
            self.page.execute(event).await.expect("a drag");
        }
    }

    /// Drags from the middle of an element by so many pixels.
    pub async fn drag(&self, selector: &str, dx: f64, dy: f64) {
        let (x, y) = self.middle(selector).await;
        self.mouse(DispatchMouseEventType::MouseMoved, x, y).await;
        self.mouse(DispatchMouseEventType::MousePressed, x, y).await;
        for step in 1..=8 {
            let part = f64::from(step) / 8.0;
            self.mouse(
                DispatchMouseEventType::MouseMoved,
                x + part * dx,
                y + part * dy,
            )
            .await;
        }
        self.mouse(DispatchMouseEventType::MouseReleased, x + dx, y + dy)
            .await;
    }

    async fn mouse(&self, kind: DispatchMouseEventType, x: f64, y: f64) {
        let held = kind != DispatchMouseEventType::MouseMoved;
        let mut event = DispatchMouseEventParams::new(kind, x, y);
        if held {
            event.button = Some(MouseButton::Left);
            event.click_count = Some(1);
        }
        event.buttons = Some(1);
        self.page.execute(event).await.expect("a mouse");
    }

    /// Presses a key; `modifiers`: 1 alt, 2 control, 8 shift.
    pub async fn press(&self, key: &str, code: i64, modifiers: i64) {
        let text = match key {
            "Enter" => Some("\r".to_owned()),
            " " => Some(" ".to_owned()),
            _ => None,
        };
        for kind in [DispatchKeyEventType::KeyDown, DispatchKeyEventType::KeyUp] {
            let mut event = DispatchKeyEventParams::new(kind.clone());
            event.key = Some(key.to_owned());
            event.code = Some(if key == " " { "Space" } else { key }.to_owned());
            event.windows_virtual_key_code = Some(code);
            event.modifiers = Some(modifiers);
            if kind == DispatchKeyEventType::KeyDown {
                event.text.clone_from(&text);
            }
            self.page.execute(event).await.expect("a key");
        }
    }

    pub async fn tab_to(&self, condition: &str) {
        for _ in 0..60 {
            let there: bool = self
                .ask(&format!(
                    "Boolean((e => {condition})(document.activeElement))"
                ))
                .await;
            if there {
                return;
            }
            self.press("Tab", 9, 0).await;
        }
        panic!("the tab key does not come to {condition}");
    }

    pub async fn type_text(&self, text: &str) {
        let insert = chromiumoxide::cdp::browser_protocol::input::InsertTextParams::new(text);
        self.page.execute(insert).await.expect("text");
    }

    /// Writes into a field, in the place of what is in it.
    pub async fn write(&self, selector: &str, text: &str) {
        let empty = format!("(document.querySelector({selector:?}).value = '', true)");
        let _: bool = self.ask(&empty).await;
        self.click(selector).await;
        self.type_text(text).await;
    }

    /// The same, and the enter key.
    pub async fn enter(&self, selector: &str, text: &str) {
        self.write(selector, text).await;
        self.press("Enter", 13, 0).await;
    }

    /// The PDF that arrives among the downloads.
    pub async fn downloaded(&self) -> PathBuf {
        self.downloaded_as("pdf").await
    }

    /// The file with such an ending that arrives among the downloads.
    pub async fn downloaded_as(&self, ending: &str) -> PathBuf {
        let began = Instant::now();
        while began.elapsed() < PATIENCE {
            let entries = std::fs::read_dir(self.downloads.path()).expect("the folder");
            let whole = entries
                .flatten()
                .map(|entry| entry.path())
                .find(|path| path.extension().is_some_and(|end| end == ending));
            if let Some(path) = whole {
                return path;
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
        panic!("no .{ending} was downloaded");
    }

    /// Chooses files in a file field, as its dialog would, once the page listens.
    pub async fn choose_files(&self, selector: &str, files: &[&Path]) {
        self.until("document.readyState === 'complete'").await;
        let element = self.page.find_element(selector).await;
        let element = element.unwrap_or_else(|e| panic!("{selector}: {e}"));
        let names = files.iter().map(|file| file.display().to_string());
        let chosen = SetFileInputFilesParams::builder()
            .files(names)
            .backend_node_id(element.backend_node_id)
            .build()
            .expect("all is given");
        self.page.execute(chosen).await.expect("files are chosen");
    }

    /// Chooses one of several answers.
    pub async fn choose(&self, name: &str, value: &str) {
        let script = format!(
            "(document.querySelector('input[name=\"{name}\"][value=\"{value}\"]').click(), true)"
        );
        let _: bool = self.ask(&script).await;
    }

    /// Clicks so many pixels right of and below the middle of an element.
    pub async fn click_beside(&self, selector: &str, dx: f64, dy: f64) {
        let (x, y) = self.middle(selector).await;
        for kind in [
            DispatchMouseEventType::MousePressed,
            DispatchMouseEventType::MouseReleased,
        ] {
            self.mouse(kind, x + dx, y + dy).await;
        }
    }

    /// Pictures and an access check of this state, light and dark, wide and narrow.
    pub async fn look(&self, name: &str) {
        let words: String = self.ask("document.body.textContent").await;
        for typed in [" --", "tympan ", "(setup ", "(run "] {
            assert!(
                !words.contains(typed),
                "{name} names what is typed on a command line: {words}"
            );
        }
        for (scheme, width) in [
            ("light", 1440),
            ("dark", 1440),
            ("light", 390),
            ("dark", 390),
        ] {
            self.scheme(scheme).await;
            self.size(width, 1000).await;
            tokio::time::sleep(Duration::from_millis(150)).await;
            let shape = if width > 1000 { "wide" } else { "narrow" };
            self.picture(&format!("{name}-{shape}-{scheme}")).await;
            self.check_access(&format!("{name}, {shape}, {scheme}"))
                .await;
            let over: f64 = self
                .ask("document.documentElement.scrollWidth - document.documentElement.clientWidth")
                .await;
            assert!(over <= 1.0, "{name} is {over} px too wide at {width} px");
        }
        self.scheme("light").await;
        self.size(1440, 1000).await;
    }

    pub async fn picture(&self, name: &str) {
        let folder = target().join("e2e-pictures");
        std::fs::create_dir_all(&folder).expect("the folder");
        let params = ScreenshotParams::builder()
            .format(CaptureScreenshotFormat::Png)
            .full_page(true)
            .build();
        self.page
            .save_screenshot(params, folder.join(format!("{name}.png")))
            .await
            .expect("a picture");
    }

    /// Runs axe-core with the rules of WCAG 2.2 AA and below.
    async fn check_access(&self, state: &str) {
        let path = target().join("e2e/node_modules/axe-core/axe.min.js");
        let axe = std::fs::read_to_string(&path).unwrap_or_else(|e| {
            panic!(
                "{} cannot be read ({e}): npm install --prefix {} axe-core@4.14.1",
                path.display(),
                target().join("e2e").display()
            )
        });
        let loaded: bool = self.ask("typeof axe === 'object'").await;
        if !loaded {
            self.page.evaluate(axe).await.expect("axe loads");
        }
        let found: Vec<Value> = self
            .ask(
                "axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] }) \
                 .then(r => { if (r.passes.length < 5) throw new Error('axe looked at nothing'); \
                 return r.violations.map(v => ({ id: v.id, nodes: v.nodes.map(n => n.html + ' ' + n.failureSummary) })); })",
            )
            .await;
        assert!(found.is_empty(), "{state}: {found:#?}");
    }

    /// Takes what was to go wrong out of what the page complains about: lines with these words.
    pub async fn forgive(&self, words: &str) {
        // What is on its way arrives.
        let _: bool = self.ask("true").await;
        let mut wrong = self.wrong.lock().expect("no panic");
        let before = wrong.len();
        wrong.retain(|line| !line.contains(words));
        assert!(wrong.len() < before, "nothing to forgive: {wrong:#?}");
    }

    /// Nothing went wrong in the page so far.
    pub async fn nothing_wrong(&self) {
        // What is on its way arrives.
        let _: bool = self.ask("true").await;
        let wrong = self.wrong.lock().expect("no panic");
        assert!(wrong.is_empty(), "the page complains: {wrong:#?}");
    }

    /// The browser notes refused requests; this one was meant to be refused.
    pub async fn was_refused(&self, status: u16) {
        let _: bool = self.ask("true").await;
        let mut wrong = self.wrong.lock().expect("no panic");
        let before = wrong.len();
        wrong.retain(|said| !said.contains(&format!("a status of {status}")));
        assert!(wrong.len() < before, "nothing was refused: {wrong:#?}");
    }

    pub async fn leave(mut self) {
        self.nothing_wrong().await;
        self.browser.close().await.expect("it closes");
        let _ = self.browser.wait().await;
    }
}

async fn listen(page: &chromiumoxide::Page, wrong: &Arc<Mutex<Vec<String>>>) {
    page.execute(EnableParams::default()).await.expect("a log");
    let mut entries = page
        .event_listener::<EventEntryAdded>()
        .await
        .expect("a log");
    let keeper = Arc::clone(wrong);
    tokio::spawn(async move {
        while let Some(event) = entries.next().await {
            let entry = &event.entry;
            // The tests themselves read the canvas back.
            if entry.text.contains("willReadFrequently") {
                continue;
            }
            let said = format!("{:?} {} {:?}", entry.level, entry.text, entry.url);
            keeper.lock().expect("no panic").push(said);
        }
    });
    let mut thrown = page
        .event_listener::<EventExceptionThrown>()
        .await
        .expect("exceptions");
    let keeper = Arc::clone(wrong);
    tokio::spawn(async move {
        while let Some(event) = thrown.next().await {
            let said = format!("{:?}", event.exception_details);
            keeper.lock().expect("no panic").push(said);
        }
    });
}
