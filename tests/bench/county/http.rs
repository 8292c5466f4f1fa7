//! A browser's side of HTTP/1.1, as far as is needed to measure: one connection that is kept, answers of a known length.

use std::time::Instant;

use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::TcpStream;

/// The longest answer that is taken, in bytes.
const LONGEST: usize = 16 * 1024 * 1024;

pub struct Client {
    line: BufReader<TcpStream>,
    host: String,
}

/// An answer.
pub struct Answer {
    pub status: u16,
    pub cookie: Option<String>,
    pub body: Vec<u8>,
    /// From the question to the last byte, in milliseconds.
    pub took: f64,
}

impl Client {
    pub async fn to(host: &str) -> Self {
        let stream = TcpStream::connect(host).await.unwrap();
        stream.set_nodelay(true).unwrap();
        Self {
            line: BufReader::new(stream),
            host: host.to_owned(),
        }
    }

    pub async fn get(&mut self, path: &str, cookie: &str) -> Answer {
        let text = format!(
            "GET {path} HTTP/1.1\r\nhost: {}\r\ncookie: {cookie}\r\n\r\n",
            self.host
        );
        self.send(&text).await
    }

    pub async fn post(&mut self, path: &str, form: &str) -> Answer {
        let text = format!(
            "POST {path} HTTP/1.1\r\nhost: {}\r\ncontent-type: application/x-www-form-urlencoded\r\n\
             content-length: {}\r\n\r\n{form}",
            self.host,
            form.len()
        );
        self.send(&text).await
    }

    async fn send(&mut self, text: &str) -> Answer {
        let began = Instant::now();
        self.line
            .get_mut()
            .write_all(text.as_bytes())
            .await
            .unwrap();
        let mut head = String::new();
        self.line.read_line(&mut head).await.unwrap();
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        let (mut length, mut cookie, mut chunked) = (None, None, false);
        loop {
            head.clear();
            self.line.read_line(&mut head).await.unwrap();
            let Some((name, value)) = head.trim_end().split_once(':') else {
                break;
            };
            match name.to_ascii_lowercase().as_str() {
                "content-length" => length = value.trim().parse::<usize>().ok(),
                "transfer-encoding" => chunked = true,
                "set-cookie" => cookie = value.trim().split(';').next().map(str::to_owned),
                _ => {}
            }
        }
        let mut body = Vec::new();
        if chunked {
            loop {
                head.clear();
                self.line.read_line(&mut head).await.unwrap();
                let size = usize::from_str_radix(head.trim(), 16).unwrap();
                self.take(size, &mut body).await;
                self.line.read_line(&mut head).await.unwrap();
                if size == 0 {
                    break;
                }
            }
        } else {
            self.take(length.unwrap_or(0), &mut body).await;
        }
        Answer {
            status,
            cookie,
            body,
            took: began.elapsed().as_secs_f64() * 1e3,
        }
    }

    async fn take(&mut self, more: usize, body: &mut Vec<u8>) {
        let at = body.len();
        assert!(at + more <= LONGEST);
        body.resize(at + more, 0);
        self.line.read_exact(&mut body[at..]).await.unwrap();
    }
}
