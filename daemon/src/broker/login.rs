//! User and password.

use std::fmt;

use inkdwell_config::shop::{Broker, Secret};

use super::Trouble;

/// User and password. Its debug form hides the password.
#[derive(Clone, PartialEq, Eq)]
pub struct Login {
    /// The user.
    pub user: String,
    /// The password; empty where none is declared.
    pub password: String,
}

impl fmt::Debug for Login {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "Login of {:?}", self.user)
    }
}

/// The login that a broker asks for, its password read anew from where it is kept, so that a corrected one
/// needs no restart; `None` where the shop file names no user.
///
/// # Errors
/// A password that cannot be read.
pub fn login(broker: &Broker) -> Result<Option<Login>, Trouble> {
    let Some(user) = &broker.user else {
        return Ok(None);
    };
    let password = match &broker.password {
        None => String::new(),
        Some(secret) => read(secret)?,
    };
    Ok(Some(Login {
        user: user.clone(),
        password,
    }))
}

fn read(secret: &Secret) -> Result<String, Trouble> {
    match secret {
        Secret::File(path) => {
            let file = path.display();
            let text = std::fs::read_to_string(path).map_err(|error| {
                Trouble::slow(format!(
                    "the password file {file} cannot be read ({}); correct password_file, or let the daemon's user read it",
                    error.kind()
                ))
            })?;
            let first = text.lines().next().unwrap_or_default();
            if first.is_empty() {
                return Err(Trouble::slow(format!(
                    "the first line of the password file {file} is empty; write the password there"
                )));
            }
            Ok(first.to_owned())
        }
        Secret::Environment(name) => match std::env::var(name) {
            Ok(password) if !password.is_empty() => Ok(password),
            _ => Err(Trouble::slow(format!(
                "the environment variable {name} holds no password; set it before the daemon starts, or correct password_env"
            ))),
        },
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use inkdwell_config::shop::MqttVersion;

    use super::*;

    fn broker(password: Option<Secret>) -> Broker {
        Broker {
            host: "127.0.0.1".to_owned(),
            port: 1883,
            version: MqttVersion::V5,
            tls: None,
            user: Some("yard".to_owned()),
            password,
        }
    }

    #[test]
    fn the_password_is_the_first_line_of_its_file_and_never_shown() {
        let mut file = tempfile::NamedTempFile::new().unwrap();
        file.write_all(b"s3cret word\r\nnot this\n").unwrap();
        let secret = Secret::File(file.path().to_owned());
        let login = login(&broker(Some(secret))).unwrap().unwrap();
        assert_eq!(login.password, "s3cret word");
        assert!(!format!("{login:?}").contains("s3cret"));
    }

    #[test]
    fn a_password_that_is_not_there_is_a_sentence() {
        let missing = Secret::File("/nowhere/password".into());
        let sentence = login(&broker(Some(missing))).unwrap_err().to_string();
        assert!(sentence.starts_with("the password file /nowhere/password cannot be read"));
        let file = tempfile::NamedTempFile::new().unwrap();
        let empty = Secret::File(file.path().to_owned());
        let sentence = login(&broker(Some(empty))).unwrap_err().to_string();
        assert!(sentence.contains("is empty; write the password there"));
        let unset = Secret::Environment("INKDWELL_TEST_OF_AN_UNSET_VARIABLE".to_owned());
        let sentence = login(&broker(Some(unset))).unwrap_err().to_string();
        assert!(sentence.contains("INKDWELL_TEST_OF_AN_UNSET_VARIABLE holds no password"));
    }

    #[test]
    fn without_a_user_there_is_no_login() {
        let mut nobody = broker(None);
        nobody.user = None;
        assert_eq!(login(&nobody).unwrap(), None);
        assert_eq!(login(&broker(None)).unwrap().unwrap().password, "");
    }
}
