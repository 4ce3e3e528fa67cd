//! Pictures, and sending them in.

use std::io::Cursor;

use reqwest::StatusCode;
use serde_json::Value;

use super::shop::Shop;

/// A small JPEG in one colour, different for each `shade`.
pub fn jpeg(shade: u8) -> Vec<u8> {
    let picture = image::RgbImage::from_pixel(64, 48, image::Rgb([shade, 90, 60]));
    let mut bytes = Cursor::new(Vec::new());
    picture
        .write_to(&mut bytes, image::ImageFormat::Jpeg)
        .expect("a picture is written");
    bytes.into_inner()
}

impl Shop {
    /// Sends a mutation that has to be refused with this code.
    pub async fn refused_as(&self, token: &str, mutation: &str, input: Value, code: &str) {
        let refused = self.refused(token, mutation, input).await;
        assert!(
            refused.iter().any(|(given, _)| given == code),
            "`{mutation}` was refused with {refused:?} and not with {code}"
        );
    }

    /// Sends a file in as the holder of `token`; status and answer.
    pub async fn upload(
        &self,
        token: &str,
        (on, kind): (&str, &str),
        bytes: Vec<u8>,
    ) -> (StatusCode, Value) {
        let answer = self
            .server
            .http()
            .post(format!("{}/attachments", self.server.base_url()))
            .query(&[("on", on), ("kind", kind)])
            .bearer_auth(token)
            .body(bytes)
            .send()
            .await
            .expect("an answer");
        let status = answer.status();
        (status, answer.json().await.expect("the answer is JSON"))
    }

    /// The same by the office, for a machine no technician visits.
    pub async fn picture_by_the_office(&self, on: &str, shade: u8) -> String {
        let (status, answer) = self.upload(&self.office, (on, "OTHER"), jpeg(shade)).await;
        assert_eq!(status, StatusCode::CREATED, "{answer}");
        answer["id"].as_str().expect("an id").to_owned()
    }

    /// Sends a picture in by the technician that has to be taken; its id.
    pub async fn picture(&self, on: &str, kind: &str, shade: u8) -> String {
        let (status, answer) = self.upload(&self.technician, (on, kind), jpeg(shade)).await;
        assert_eq!(status, StatusCode::CREATED, "{answer}");
        answer["id"].as_str().expect("an id").to_owned()
    }
}
