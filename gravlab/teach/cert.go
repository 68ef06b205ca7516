package teach

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/hex"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"

	"gravity.example/gravlab/internal/atomicfile"
)

// ReadCertificate reads a certificate with its key, for the names at which browsers reach the
// program. An error says what does not fit.
func ReadCertificate(certFile, keyFile string, hosts []string) (tls.Certificate, error) {
	for _, file := range []string{certFile, keyFile} {
		if _, err := os.Stat(file); err != nil {
			return tls.Certificate{}, fmt.Errorf("%s cannot be read: %w", file, err)
		}
	}
	cert, err := tls.LoadX509KeyPair(certFile, keyFile)
	if err != nil {
		return cert, fmt.Errorf("%s and %s are not a certificate and its key in PEM: %w", certFile, keyFile, err)
	}
	leaf := cert.Leaf
	if now := time.Now(); now.After(leaf.NotAfter) || now.Before(leaf.NotBefore) {
		return cert, fmt.Errorf("%s is valid from %s to %s, and today is %s: ask for a new certificate, or set the clock", certFile,
			leaf.NotBefore.Format(time.DateOnly), leaf.NotAfter.Format(time.DateOnly), now.Format(time.DateOnly))
	}
	for _, host := range hosts {
		if err := leaf.VerifyHostname(host); err != nil {
			return cert, fmt.Errorf("%s does not fit the address that browsers open: %w; name another address with --address, or give a certificate for this one", certFile, err)
		}
	}
	return cert, nil
}

// OwnCertificate returns the certificate that this program has made for itself in a folder,
// and makes one if there is none that is good for the names and for another month.
// Browsers warn of it once; its SHA-256 fingerprint is there to compare.
func OwnCertificate(dir string, hosts []string) (cert tls.Certificate, fingerprint string, err error) {
	certFile, keyFile := filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	cert, err = ReadCertificate(certFile, keyFile, hosts)
	if err != nil || time.Until(cert.Leaf.NotAfter) < 30*24*time.Hour {
		if err = makeCertificate(certFile, keyFile, hosts); err != nil {
			return cert, "", err
		}
		if cert, err = ReadCertificate(certFile, keyFile, hosts); err != nil {
			return cert, "", err
		}
	}
	sum := sha256.Sum256(cert.Leaf.Raw)
	for i, b := range sum {
		if i > 0 {
			fingerprint += ":"
		}
		fingerprint += hex.EncodeToString([]byte{b})
	}
	return cert, fingerprint, nil
}

func makeCertificate(certFile, keyFile string, hosts []string) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return err
	}
	form := x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: "gravlab lab hour"},
		NotBefore: time.Now().Add(-24 * time.Hour), NotAfter: time.Now().Add(390 * 24 * time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			form.IPAddresses = append(form.IPAddresses, ip)
		} else {
			form.DNSNames = append(form.DNSNames, h)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, &key.PublicKey, key)
	if err != nil {
		return err
	}
	private, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(certFile), 0o700); err != nil {
		return err
	}
	if err := atomicfile.WriteFile(keyFile, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), 0o600); err != nil {
		return err
	}
	return atomicfile.WriteFile(certFile, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o644)
}
