"""Begins a site in a container, as often as that is started: founds or joins where that was not done, then works.

    begin.py coordinator --file FILE --store STORE --invite SITE ... --letters FOLDER --folder FOLDER
    begin.py site NAME --letters FOLDER --folder FOLDER

The invitations go from the coordinator's container to the others through a folder that all share. That is fit for one
machine; between houses an invitation is sent like a password. Needs RELAY_HOME, and `relay` on the PATH.
"""

import argparse
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

PATIENCE = 600  # seconds that a site waits for its invitation


def relay(*words: str | Path) -> str:
    """Run a command and return what it said. Ends this program, with the command's own code, where that failed."""
    done = subprocess.run(["relay", *words], stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        sys.exit(done.returncode)
    return done.stdout


def make_bucket(store: str) -> None:
    """Create the bucket that an address names, unless it is there; whoever holds the store's root key may."""
    import boto3
    from botocore.exceptions import ClientError

    address = urlsplit(store)
    if address.scheme != "s3":
        return
    told = {name: values[0] for name, values in parse_qs(address.query).items()}
    region = told.get("region", "us-east-1")
    client = boto3.client("s3", endpoint_url=told.get("endpoint"), region_name=region)
    try:
        client.create_bucket(Bucket=address.netloc)
    except ClientError as error:
        if error.response["Error"]["Code"] not in {"BucketAlreadyOwnedByYou", "BucketAlreadyExists"}:
            sys.exit(f"the bucket {address.netloc} cannot be created: {error}")


def found(file: Path, store: str, sites: list[str], letters: Path) -> None:
    """Create the production, unless that was done, and write an invitation for each site that has not joined."""
    make_bucket(store)
    relay("production", "create", file, "--store", store)
    standing = {site["site"]: site["standing"] for site in json.loads(relay("site", "list", "--json"))["sites"]}
    for site in sites:
        letter = letters / f"{site}.invitation"
        if standing[site] != "joined" and not letter.exists():
            relay("site", "invite", site, "--into", letter)


def join(name: str, letters: Path) -> None:
    """Join with the invitation in `letters`, unless this home has joined."""
    letter = letters / f"{name}.invitation"
    give_up = time.monotonic() + PATIENCE
    while not (has_joined := is_at_home()) and not is_whole(letter):
        if time.monotonic() > give_up:
            sys.exit(f"no invitation for {name} came within {PATIENCE} s: does the coordinator's container run?")
        time.sleep(0.5)  # noqa: TID251  a script of its own, outside the package
    if is_whole(letter):
        relay("site", "join", letter)  # again, where a start was cut short: it finds its own key
        letter.unlink()
    elif not has_joined:
        sys.exit(f"the invitation for {name} is gone: has another home joined with it?")


def is_at_home() -> bool:
    """Answer whether this home is a site's. A program that runs before a site has no other way to find its home."""
    return Path(os.environ["RELAY_HOME"], "site.toml").exists()  # noqa: TID251  a script of its own


def is_whole(letter: Path) -> bool:
    """Answer whether an invitation is there and was written to its end."""
    try:
        return isinstance(json.loads(letter.read_text(encoding="utf-8")), dict)
    except (FileNotFoundError, ValueError):
        return False


def main() -> None:
    """Begin, then become the site's worker."""
    words = argparse.ArgumentParser(description="Begins a site in a container.")
    kinds = words.add_subparsers(dest="kind", required=True)
    coordinator, site = kinds.add_parser("coordinator"), kinds.add_parser("site")
    coordinator.add_argument("--file", type=Path, required=True)
    coordinator.add_argument("--store", required=True)
    coordinator.add_argument("--invite", action="append", default=[])
    site.add_argument("name")
    for kind in (coordinator, site):
        kind.add_argument("--letters", type=Path, required=True)
        kind.add_argument("--folder", type=Path, required=True)
    told = words.parse_args()
    if told.kind == "coordinator":
        found(told.file, told.store, told.invite, told.letters)
    else:
        join(told.name, told.letters)
    os.execvp("relay", ["relay", "site", "run", "--folder", str(told.folder)])  # noqa: S606  no shell is wanted


if __name__ == "__main__":
    main()
