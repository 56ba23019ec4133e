#!/bin/sh
# Installs what the tests need besides Python packages, on Debian and its kin: a browser for the
# pages, Calc for the squad sheet, a database server that decides by queries, and a compiler for one
# library. Does nothing where all is there.
# "sh tests/machine.sh service" installs the compiler alone, which is all that the service needs; if
# that fails it says so and goes on, as there may be a built library.
set -eu

wanted=""
python3 -c 'import ensurepip' 2>/dev/null || wanted="$wanted python3-venv"
command -v gcc >/dev/null || wanted="$wanted gcc python3-dev"
if [ "${1:-}" != service ]; then
    command -v chromium >/dev/null || wanted="$wanted chromium"
    command -v soffice >/dev/null || wanted="$wanted libreoffice-calc"
    /usr/bin/python3 -c 'import uno' 2>/dev/null || wanted="$wanted python3-uno"
    ls /usr/lib/libreoffice/program/pythonscript.py >/dev/null 2>&1 ||
        wanted="$wanted libreoffice-script-provider-python"
    command -v pdftoppm >/dev/null || wanted="$wanted poppler-utils"
    ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || wanted="$wanted postgresql"
fi
[ -z "$wanted" ] && exit 0

install() {
    command -v apt-get >/dev/null || return 1
    as_root=""
    [ "$(id -u)" = 0 ] || as_root=sudo
    export DEBIAN_FRONTEND=noninteractive
    # shellcheck disable=SC2086 # names of packages, to be split
    $as_root apt-get update -qq &&
        $as_root apt-get install -y -qq --no-install-recommends $wanted >/dev/null
}

if ! install; then
    echo "Needed, by the names that Debian gives them:$wanted" >&2
    [ "${1:-}" = service ]
fi
