//! Names and passwords over HTTP: Digest (RFC 7616, and RFC 2617 of older printers) and Basic
//! (RFC 7617).

use base64::Engine;
use http_auth::parser::ChallengeParser;
use http_auth::{DigestClient, PasswordParams};

/// How a printer wants to be told a name and a password.
pub(crate) enum Scheme {
    /// As they are: only where nobody on the way can read them.
    Basic,
    /// As a digest of them and of what the printer made up for this once; the password is not
    /// sent.
    Digest(Box<DigestClient>),
}

/// Why a password cannot be given.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum NoScheme {
    /// The printer takes it only as it is, and the connection is open to all.
    Open,
    /// The printer wants it in ways that are not known here, by their names.
    Unknown(String),
}

impl Scheme {
    /// What is chosen of the challenges in a printer's `WWW-Authenticate` fields: the first Digest
    /// that is known, as RFC 7616, 3.7, has it; else Basic, where the connection is private.
    ///
    /// # Errors
    /// [`NoScheme`] where none will do.
    pub(crate) fn choose<'a>(
        fields: impl IntoIterator<Item = &'a str>,
        is_private: bool,
    ) -> Result<Self, NoScheme> {
        let mut others: Vec<String> = Vec::new();
        let mut basic = false;
        for field in fields {
            // What comes before a fault in a field still counts.
            for challenge in ChallengeParser::new(field).map_while(Result::ok) {
                if let Ok(digest) = DigestClient::try_from(&challenge) {
                    return Ok(Self::Digest(Box::new(digest)));
                }
                basic |= challenge.scheme.eq_ignore_ascii_case("Basic");
                others.push(challenge.scheme.chars().take(40).collect());
            }
        }
        match (basic, is_private) {
            (true, true) => Ok(Self::Basic),
            (true, false) => Err(NoScheme::Open),
            (false, _) => Err(NoScheme::Unknown(others.join(", "))),
        }
    }

    /// Whether the printer may refuse the same name and password next time because what it made
    /// up has grown stale.
    pub(crate) fn may_grow_stale(&self) -> bool {
        matches!(self, Self::Digest(_))
    }

    /// Whether the printer said only that what it made up before had grown stale.
    pub(crate) fn is_stale(&self) -> bool {
        matches!(self, Self::Digest(digest) if digest.stale())
    }

    /// The `Authorization` field of a POST to this path; none where a printer's challenge or a
    /// name has letters that no field can hold.
    pub(crate) fn field(&mut self, name: &str, password: &str, path: &str) -> Option<String> {
        match self {
            Self::Basic => {
                let both = format!("{name}:{password}");
                let coded = base64::engine::general_purpose::STANDARD.encode(both);
                Some(format!("Basic {coded}"))
            }
            Self::Digest(digest) => digest
                .respond(&PasswordParams {
                    username: name,
                    password,
                    uri: path,
                    method: "POST",
                    body: None,
                })
                .ok(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The challenges of the worked example in RFC 7616, 3.9.1, and its answers.
    const RFC_7616: [&str; 2] = [
        "Digest realm=\"http-auth@example.org\", qop=\"auth, auth-int\", algorithm=SHA-256, \
         nonce=\"7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v\", \
         opaque=\"FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS\"",
        "Digest realm=\"http-auth@example.org\", qop=\"auth, auth-int\", algorithm=MD5, \
         nonce=\"7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v\", \
         opaque=\"FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS\"",
    ];

    fn answer(challenge: &str, name: &str, password: &str, cnonce: &str) -> String {
        let Ok(Scheme::Digest(mut digest)) = Scheme::choose([challenge], false) else {
            panic!("{challenge}");
        };
        let params = PasswordParams {
            username: name,
            password,
            uri: "/dir/index.html",
            method: "GET",
            body: None,
        };
        let field = digest.respond_with_testing_cnonce(&params, cnonce);
        let field = field.expect("an answer");
        let (_, rest) = field.split_once("response=\"").expect("a response");
        rest.split('"').next().expect("a value").to_owned()
    }

    #[test]
    fn answers_are_those_of_the_worked_example_in_rfc_7616() {
        let cnonce = "f2/wE4q74E6zIJEtWaHKaf5wv/H5QzzpXusqGemxURZJ";
        let said = RFC_7616.map(|text| answer(text, "Mufasa", "Circle of Life", cnonce));
        assert_eq!(
            said[0],
            "753927fa0e85d155564e2e272a28d1802ca10daf4496794697cf8db5856cb6c1"
        );
        assert_eq!(said[1], "8ca523f5e9506fed4657c9700eebdbec");
    }

    /// RFC 2617, 3.5; the algorithm is not named there and is then MD5 (3.2.1).
    #[test]
    fn the_answer_is_that_of_the_worked_example_in_rfc_2617() {
        let challenge = "Digest realm=\"testrealm@host.com\", qop=\"auth,auth-int\", \
             nonce=\"dcd98b7102dd2f0e8b11d0f600bfb0c093\", opaque=\"5ccc069c403ebaf9f0171e9517f40e41\"";
        assert_eq!(
            answer(challenge, "Mufasa", "Circle Of Life", "0a4f113b"),
            "6629fae49393a05397450978507c4ef1"
        );
    }

    #[test]
    fn a_digest_is_chosen_before_basic_and_basic_only_where_nobody_can_read_it() {
        let digest = Scheme::choose(["Basic realm=\"Ferry\"", RFC_7616[1]], true);
        assert!(matches!(digest, Ok(Scheme::Digest(_))));
        let both = format!("Basic realm=\"Ferry\", {}", RFC_7616[0]);
        let digest = Scheme::choose([both.as_str()], false);
        assert!(matches!(digest, Ok(Scheme::Digest(_))));
        let basic = Scheme::choose(["basic realm=\"Ferry\""], true);
        assert!(matches!(basic, Ok(Scheme::Basic)));
        let open = Scheme::choose(["Basic realm=\"Ferry\""], false).err();
        assert_eq!(open, Some(NoScheme::Open));
    }

    #[test]
    fn ways_that_are_not_known_are_named() {
        let odd = "Negotiate, Digest realm=\"r\", nonce=\"n\", qop=\"auth\", algorithm=SHA-1024";
        let unknown = Scheme::choose([odd], true).err();
        assert_eq!(unknown, Some(NoScheme::Unknown("Negotiate, Digest".into())));
        let nothing = Scheme::choose(["\u{1}, \"", ""], true).err();
        assert_eq!(nothing, Some(NoScheme::Unknown(String::new())));
    }

    #[test]
    fn each_use_of_what_the_printer_made_up_is_counted() {
        let mut scheme = Scheme::choose(RFC_7616, false)
            .map_err(|_| ())
            .expect("a scheme");
        for count in ["nc=00000001", "nc=00000002"] {
            let field = scheme.field("Mufasa", "Circle of Life", "/ipp/print");
            let field = field.expect("a field");
            assert!(
                field.contains(count) && field.contains("uri=\"/ipp/print\""),
                "{field}"
            );
            assert!(!field.contains("Circle"), "{field}");
        }
    }
}
