#!/bin/sh
# Installs the Debian packages that some tests need where it may; elsewhere says which tests will be skipped.
set -u
missing=""
command -v mosquitto >/dev/null || [ -x /usr/sbin/mosquitto ] || missing="$missing mosquitto"
command -v mosquitto_pub >/dev/null || missing="$missing mosquitto-clients"
command -v chromium >/dev/null || missing="$missing chromium fonts-dejavu-core"
command -v openssl >/dev/null || missing="$missing openssl"
command -v systemd-analyze >/dev/null || missing="$missing systemd"
[ -n "$missing" ] || exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "installing$missing"
    export DEBIAN_FRONTEND=noninteractive
    # shellcheck disable=SC2086
    apt-get update -qq && apt-get install -y -qq --no-install-recommends $missing >/dev/null && exit 0
fi
[ -z "${CI:-}" ] || { echo "CI needs$missing"; exit 1; }
echo "not installed:$missing; the tests that need them are skipped (sudo apt install$missing)"
