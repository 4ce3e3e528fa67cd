//! Handing mail to a relay, over a connection of its own each time: a try that is broken off leaves nothing behind
//! (the library's pool would keep waiting for the connection that was broken off).

use std::time::Duration;

use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls as Protection, TlsParameters};
use lettre::transport::smtp::{AsyncSmtpTransport, Error};
use lettre::{AsyncTransport, Message, Tokio1Executor};

use crate::base::config::{Mail, Smtp, Tls};
use crate::graphql::error::chain;

use super::SendFault;

/// The relay that takes our mail.
pub struct Relay {
    address: String,
    transport: AsyncSmtpTransport<Tokio1Executor>,
    timeout: Duration,
}

/// Answers that speak of how we sign in, not of the mail: the settings are wrong, and the mail can wait.
const ABOUT_SIGNING_IN: [u16; 5] = [530, 534, 535, 538, 454];

impl Relay {
    /// Reads the settings; connects only when a mail is sent.
    ///
    /// # Errors
    /// A sentence that names the setting that does not work.
    pub fn new(host: &str, smtp: &Smtp, mail: &Mail) -> Result<Self, String> {
        let port = smtp.port.unwrap_or(match smtp.tls {
            Tls::Starttls => 587,
            Tls::Implicit => 465,
            Tls::None => 25,
        });
        let mut builder = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(host)
            .port(port)
            .tls(protection(host, smtp)?)
            .timeout(Some(mail.send_timeout()));
        if let (Some(username), Some(password)) = (&smtp.username, &smtp.password) {
            builder = builder.credentials(Credentials::new(username.clone(), password.clone()));
        }
        Ok(Self {
            address: format!("{host}:{port}"),
            transport: builder.build(),
            timeout: mail.send_timeout(),
        })
    }

    pub fn address(&self) -> &str {
        &self.address
    }

    /// One try, ended by our own clock: the library's does not end a relay that falls silent.
    pub async fn send(&self, message: Message) -> Result<(), SendFault> {
        match tokio::time::timeout(self.timeout, self.transport.send(message)).await {
            Ok(Ok(_)) => Ok(()),
            Ok(Err(error)) => Err(fault(&error)),
            Err(_) => Err(SendFault::Later(
                "the relay did not answer in time".to_owned(),
            )),
        }
    }
}

fn fault(error: &Error) -> SendFault {
    let said = chain(error);
    let is_about_us = error
        .status()
        .is_some_and(|code| ABOUT_SIGNING_IN.contains(&u16::from(code)));
    if is_about_us {
        tracing::error!(
            said,
            "the relay does not let us in; look at the settings of smtp"
        );
        SendFault::Later(said)
    } else if error.is_permanent() {
        SendFault::Never(said)
    } else {
        SendFault::Later(said)
    }
}

fn protection(host: &str, smtp: &Smtp) -> Result<Protection, String> {
    if smtp.tls == Tls::None {
        return Ok(Protection::None);
    }
    let mut parameters = TlsParameters::builder(host.to_owned());
    if let Some(file) = &smtp.ca_file {
        let pem = std::fs::read(file)
            .map_err(|error| format!("smtp.ca_file {} cannot be read: {error}", file.display()))?;
        let certificate = Certificate::from_pem(&pem)
            .map_err(|error| format!("smtp.ca_file is no certificate: {}", chain(&error)))?;
        parameters = parameters.add_root_certificate(certificate);
    }
    let parameters = parameters
        .build()
        .map_err(|error| format!("TLS to the mail relay: {}", chain(&error)))?;
    Ok(match smtp.tls {
        Tls::Implicit => Protection::Wrapper(parameters),
        Tls::Starttls | Tls::None => Protection::Required(parameters),
    })
}
