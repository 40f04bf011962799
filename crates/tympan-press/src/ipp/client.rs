//! Asking a printer: HTTP, timeouts, passwords.

use std::io::Read;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use ipp::prelude::{
    DelimiterTag, IppAttribute, IppRequestResponse, IppValue, IppVersion, Operation,
};
use ureq::Agent;
use ureq::SendBody;
use ureq::unversioned::resolver::DefaultResolver;
use ureq::unversioned::transport::{Connector, TcpConnector};

use super::answer::UNSUPPORTED;
use super::certificate::{PinnedTls, Shown};
use super::password::{NoScheme, Scheme};
use super::{Address, Answer, Fingerprint, PrinterError};

/// The longest answer that is read; a media database of a thousand entries has some 300 kB.
const LONGEST_ANSWER: u64 = 8 << 20;

/// How a printer lets one in.
#[derive(Clone, Default)]
pub struct Access {
    /// The name and the password, where it wants them.
    pub user: Option<(String, String)>,
    /// The certificate that is known.
    pub certificate: Option<Fingerprint>,
}

impl std::fmt::Debug for Access {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let user = self.user.as_ref().map(|(name, _)| name);
        f.debug_struct("Access")
            .field("user", &user)
            .field("certificate", &self.certificate)
            .finish()
    }
}

/// How long a printer may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Until it takes the connection.
    pub connect: Duration,
    /// Until it answers a question.
    pub answer: Duration,
    /// Without taking a byte of the pages: printers stop taking them while they print, and all
    /// the more while they wait for paper.
    pub stall: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self {
            connect: Duration::from_secs(10),
            answer: Duration::from_secs(30),
            stall: Duration::from_secs(600),
        }
    }
}

/// A connection to a printer.
#[derive(Clone)]
pub(crate) struct Client {
    pub(crate) address: Address,
    agent: Agent,
    access: Access,
    patience: Patience,
    shown: Shown,
    door: Arc<Mutex<Door>>,
}

impl std::fmt::Debug for Client {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Client")
            .field("address", &self.address)
            .field("access", &self.access)
            .finish_non_exhaustive()
    }
}

/// What is known of how the printer wants the password.
#[derive(Default)]
struct Door {
    /// How, once it has said so.
    scheme: Option<Scheme>,
    /// Whether it has taken the name and the password before.
    has_opened: bool,
}

type Answered = ureq::http::Response<ureq::Body>;
type Post = ureq::RequestBuilder<ureq::typestate::WithBody>;

impl Client {
    pub(crate) fn new(address: Address, access: Access, patience: Patience) -> Self {
        let shown = Shown::default();
        let tls = PinnedTls::new(access.certificate, shown.clone());
        let config = Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .proxy(None)
            .user_agent(concat!("tympan/", env!("CARGO_PKG_VERSION")))
            .timeout_resolve(Some(patience.connect))
            .timeout_connect(Some(patience.connect))
            .timeout_per_write(Some(patience.stall))
            // A printer that is asked seldom closes the connection at its leisure.
            .max_idle_age(Duration::from_secs(2))
            .build();
        let connector = TcpConnector::default().chain(tls);
        Self {
            address,
            agent: Agent::with_parts(config, connector, DefaultResolver::default()),
            access,
            patience,
            shown,
            door: Arc::default(),
        }
    }

    /// The same printer at another path.
    pub(crate) fn at_path(&self, path: &str) -> Self {
        let mut other = self.clone();
        path.clone_into(&mut other.address.path);
        other
    }

    /// The access that it was opened with.
    pub(crate) fn access(&self) -> &Access {
        &self.access
    }

    /// A request to this printer, with what every request begins with (RFC 8011, 4.1.4 and
    /// 4.1.5).
    pub(crate) fn request(&self, operation: Operation) -> Request {
        let user = self.access.user.as_ref().map(|(name, _)| name.clone());
        let message = IppRequestResponse::new(IppVersion::v2_0(), operation, None)
            .expect("a request without an address");
        let mut request = Request(message);
        request.operation("printer-uri", uri(&self.address.uri()));
        request.operation(
            "requesting-user-name",
            name(&user.unwrap_or_else(user_name)),
        );
        request
    }

    /// Asks, and gives the answer whatever its status.
    pub(crate) fn ask(&self, request: &Request) -> Result<Answer, PrinterError> {
        let bytes = request.0.to_bytes();
        let response = self.let_in(|post| {
            post.config()
                .timeout_send_body(Some(self.patience.answer))
                .timeout_recv_response(Some(self.patience.answer))
                .timeout_recv_body(Some(self.patience.answer))
                .build()
                .send(&bytes[..])
                .map_err(|e| self.failed(e))
        })?;
        self.answer(response)
    }

    /// Sends pages with a request. The printer's answer may take as long as it prints.
    pub(crate) fn send(
        &self,
        request: &Request,
        pages: &mut (dyn Read + Send),
    ) -> Result<Answer, PrinterError> {
        let bytes = request.0.to_bytes();
        let mut pages = Begun {
            pages,
            is_begun: false,
        };
        let response = self.let_in(|post| {
            if pages.is_begun {
                return Err(PrinterError::Broken {
                    place: self.address.place(),
                    why: "it asked for the password once more in the middle of the pages".into(),
                });
            }
            let post = match self.may_be_asked() {
                // It is to say no before it has taken pages (RFC 9110, 10.1.1).
                true => post.header("Expect", "100-continue"),
                false => post,
            };
            let mut body = Read::chain(&bytes[..], &mut pages);
            post.config()
                .timeout_recv_response(Some(self.patience.stall))
                .timeout_recv_body(Some(self.patience.answer))
                .build()
                .send(SendBody::from_reader(&mut body))
                .map_err(|e| self.failed(e))
        })?;
        self.answer(response)
    }

    /// Breaks off whatever is being sent or waited for, on all copies of this connection.
    pub(crate) fn break_off(&self) {
        self.agent.clone().shutdown();
    }

    /// Posts; where the printer wants a password, or has grown tired of what it made up for an
    /// earlier answer, answers and posts once more.
    fn let_in(
        &self,
        mut go: impl FnMut(Post) -> Result<Answered, PrinterError>,
    ) -> Result<Answered, PrinterError> {
        let (post, was_given) = self.post();
        let response = go(post)?;
        if response.status().as_u16() != 401 {
            self.door().has_opened |= was_given;
            return Ok(response);
        }
        let place = self.address.place();
        let fields = response.headers().get_all("www-authenticate");
        let fields = fields.iter().filter_map(|field| field.to_str().ok());
        let scheme = match Scheme::choose(fields, self.is_private()) {
            Ok(scheme) => scheme,
            Err(NoScheme::Open) => return Err(PrinterError::PasswordOpen { place }),
            Err(NoScheme::Unknown(ways)) => {
                return Err(PrinterError::PasswordUnknown { place, ways });
            }
        };
        if self.access.user.is_none() {
            return Err(PrinterError::PasswordWanted { place });
        }
        let mut door = self.door();
        let only_stale = scheme.is_stale() || (scheme.may_grow_stale() && door.has_opened);
        if was_given && !only_stale {
            return Err(PrinterError::PasswordWrong { place });
        }
        door.scheme = Some(scheme);
        drop(door);
        drop(response);
        go(self.post().0)
    }

    fn door(&self) -> MutexGuard<'_, Door> {
        self.door.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A request that is to be sent, and whether it has the name and the password in it.
    fn post(&self) -> (Post, bool) {
        let post = self
            .agent
            .post(self.address.post())
            .header("Content-Type", "application/ipp")
            .header("Accept-Encoding", "identity");
        let field = self.access.user.as_ref().and_then(|(name, password)| {
            let path = &self.address.path;
            let mut door = self.door();
            door.scheme.as_mut()?.field(name, password, path)
        });
        match field {
            Some(field) => (post.header("Authorization", field), true),
            None => (post, false),
        }
    }

    /// Whether the printer may yet answer a request by asking for the password.
    fn may_be_asked(&self) -> bool {
        let will_not = |scheme: &Scheme| !scheme.may_grow_stale();
        self.access.user.is_some() && !self.door().scheme.as_ref().is_some_and(will_not)
    }

    /// Whether nobody on the way can read what is sent.
    fn is_private(&self) -> bool {
        self.address.is_secure || self.address.is_local()
    }

    fn answer(
        &self,
        mut response: ureq::http::Response<ureq::Body>,
    ) -> Result<Answer, PrinterError> {
        let place = || self.address.place();
        let status = response.status().as_u16();
        match status {
            200..=299 => {}
            401 => return Err(PrinterError::PasswordWrong { place: place() }),
            403 if !self.is_private() => {
                return Err(PrinterError::PasswordOpen { place: place() });
            }
            403 => {
                return Err(PrinterError::Refused {
                    status: 0x0403,
                    said: None,
                    unsupported: Vec::new(),
                });
            }
            // Upgrade Required: the printer speaks only TLS.
            426 => return Err(PrinterError::PasswordOpen { place: place() }),
            503 => return Err(PrinterError::Busy { said: None }),
            _ => {
                return Err(PrinterError::NoPrinter {
                    place: place(),
                    status,
                });
            }
        }
        let mut bytes = Vec::new();
        let body = response.body_mut().as_reader();
        body.take(LONGEST_ANSWER)
            .read_to_end(&mut bytes)
            .map_err(|e| self.failed(e.into()))?;
        Answer::read(&bytes).map_err(|source| PrinterError::Garbled {
            place: place(),
            source,
        })
    }

    fn failed(&self, error: ureq::Error) -> PrinterError {
        use std::io::ErrorKind;
        let place = self.address.place();
        if let Some(shown) = self.shown.take() {
            return match self.access.certificate {
                None => PrinterError::UnknownCertificate { place, shown },
                Some(_) => PrinterError::ChangedCertificate { place, shown },
            };
        }
        let silent = |timeout: Duration| PrinterError::Silent {
            place: self.address.place(),
            seconds: timeout.as_secs(),
        };
        let unreachable = |why: String| PrinterError::Unreachable {
            place: self.address.place(),
            why,
        };
        match error {
            ureq::Error::Timeout(ureq::Timeout::Connect | ureq::Timeout::Resolve) => {
                unreachable("nothing answers there".to_owned())
            }
            ureq::Error::Timeout(ureq::Timeout::PerWrite) => silent(self.patience.stall),
            ureq::Error::Timeout(_) => silent(self.patience.answer),
            ureq::Error::HostNotFound => unreachable("there is no such name".to_owned()),
            ureq::Error::ConnectionFailed => unreachable("the connection failed".to_owned()),
            ureq::Error::Io(e) => match e.kind() {
                ErrorKind::ConnectionRefused => {
                    unreachable("nothing listens at that port".to_owned())
                }
                ErrorKind::HostUnreachable | ErrorKind::NetworkUnreachable => {
                    unreachable("there is no way to it on the network".to_owned())
                }
                ErrorKind::TimedOut | ErrorKind::WouldBlock => silent(self.patience.answer),
                _ if e.to_string().contains("failed to lookup") => {
                    unreachable("there is no such name".to_owned())
                }
                _ => PrinterError::Broken {
                    place,
                    why: e.to_string(),
                },
            },
            other => PrinterError::Broken {
                place,
                why: other.to_string(),
            },
        }
    }
}

/// Pages, and whether any of them have been read.
struct Begun<'a> {
    pages: &'a mut (dyn Read + Send),
    is_begun: bool,
}

impl Read for Begun<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.is_begun = true;
        self.pages.read(buffer)
    }
}

/// A request being put together.
pub(crate) struct Request(IppRequestResponse);

impl Request {
    pub(crate) fn operation(&mut self, name: &str, value: IppValue) {
        self.add(DelimiterTag::OperationAttributes, name, value);
    }

    pub(crate) fn job(&mut self, name: &str, value: IppValue) {
        self.add(DelimiterTag::JobAttributes, name, value);
    }

    fn add(&mut self, group: DelimiterTag, name: &str, value: IppValue) {
        if let Ok(attribute) = IppAttribute::with_name(name, value) {
            self.0.attributes_mut().add(group, attribute);
        }
    }
}

/// An answer that says yes; any other becomes an error.
pub(crate) fn granted(answer: Answer) -> Result<Answer, PrinterError> {
    let said = answer.message().map(str::to_owned);
    match answer.status {
        0x0000..=0x00ff => Ok(answer),
        0x0406 | 0x0407 => Err(PrinterError::JobGone),
        0x0507 => Err(PrinterError::Busy { said }),
        0x0506 => Err(PrinterError::NotAccepting { said }),
        status => Err(PrinterError::Refused {
            status,
            said,
            unsupported: answer
                .group(UNSUPPORTED)
                .map(|group| group.names().map(str::to_owned).collect())
                .unwrap_or_default(),
        }),
    }
}

/// A keyword. Longer ones than the protocol allows are cut.
pub(crate) fn keyword(text: &str) -> IppValue {
    IppValue::Keyword(ipp::value::IppKeyword::new_truncated(text))
}

/// A name for people, cut to what the protocol allows.
pub(crate) fn name(text: &str) -> IppValue {
    let short: String = text.chars().take(60).collect();
    IppValue::NameWithoutLanguage(ipp::value::IppName::new_truncated(short))
}

/// An address.
pub(crate) fn uri(text: &str) -> IppValue {
    IppValue::Uri(ipp::value::IppString::new_truncated(text))
}

/// A kind of file.
pub(crate) fn mime(text: &str) -> IppValue {
    IppValue::MimeMediaType(ipp::value::IppMimeMediaType::new_truncated(text))
}

/// Who prints, as far as the system says.
fn user_name() -> String {
    let of = |name| std::env::var(name).ok().filter(|text| !text.is_empty());
    of("USER")
        .or_else(|| of("USERNAME"))
        .unwrap_or_else(|| "anonymous".to_owned())
}
