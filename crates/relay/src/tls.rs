//! Certificates from files, read again when they change.

use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};
use std::time::SystemTime;

use tokio_rustls::rustls::pki_types::pem::PemObject as _;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio_rustls::rustls::{self, ServerConfig, crypto::CryptoProvider};

/// Why certificates could not be used.
#[derive(Debug, thiserror::Error)]
pub enum TlsError {
    /// A file could not be read as PEM.
    #[error("{}: {problem}", path.display())]
    File {
        /// Which file.
        path: PathBuf,
        /// What is wrong with it.
        problem: String,
    },
    /// The certificate and the key do not go together, or are of a kind that is not supported.
    #[error("certificate and key: {0}")]
    Pair(#[from] rustls::Error),
}

pub(crate) fn provider() -> Arc<CryptoProvider> {
    Arc::new(rustls::crypto::ring::default_provider())
}

/// The certificates of a PEM file, one at least.
pub(crate) fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let problem = |problem: String| TlsError::File { path: path.to_path_buf(), problem };
    let read = CertificateDer::pem_file_iter(path).map_err(|error| problem(error.to_string()))?;
    let all = read.collect::<Result<Vec<_>, _>>().map_err(|error| problem(error.to_string()))?;
    if all.is_empty() {
        return Err(problem("no certificate in it (a block that begins with -----BEGIN CERTIFICATE-----)".into()));
    }
    Ok(all)
}

fn server_config(certificate: &Path, key: &Path) -> Result<Arc<ServerConfig>, TlsError> {
    let chain = certificates(certificate)?;
    let key = PrivateKeyDer::from_pem_file(key)
        .map_err(|error| TlsError::File { path: key.to_path_buf(), problem: error.to_string() })?;
    let mut config = ServerConfig::builder_with_provider(provider())
        .with_safe_default_protocol_versions()?
        .with_no_client_auth()
        .with_single_cert(chain, key)?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Arc::new(config))
}

/// A certificate and its key, and when their files were last changed.
pub(crate) struct Certificate {
    files: [PathBuf; 2],
    current: RwLock<(Arc<ServerConfig>, [Option<SystemTime>; 2])>,
}

impl Certificate {
    pub(crate) fn load(certificate: &Path, key: &Path) -> Result<Self, TlsError> {
        let files = [certificate.to_path_buf(), key.to_path_buf()];
        let changed = changed(&files);
        let config = server_config(certificate, key)?;
        Ok(Self { files, current: RwLock::new((config, changed)) })
    }

    pub(crate) fn current(&self) -> Arc<ServerConfig> {
        Arc::clone(&self.current.read().unwrap_or_else(PoisonError::into_inner).0)
    }

    /// Reads the files again if they changed; keeps the old pair while the new one cannot be used.
    pub(crate) fn refresh(&self) -> Result<bool, TlsError> {
        let changed = changed(&self.files);
        if changed == self.current.read().unwrap_or_else(PoisonError::into_inner).1 {
            return Ok(false);
        }
        let [certificate, key] = &self.files;
        let config = server_config(certificate, key)?;
        *self.current.write().unwrap_or_else(PoisonError::into_inner) = (config, changed);
        Ok(true)
    }
}

fn changed(files: &[PathBuf; 2]) -> [Option<SystemTime>; 2] {
    files.each_ref().map(|file| file.metadata().and_then(|meta| meta.modified()).ok())
}
