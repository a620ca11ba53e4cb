"""What is read from the environment about a store."""

import subprocess
import sys

from relay.settings import store_keys, store_region

KEYS = {"AWS_ACCESS_KEY_ID": "an-access-key", "AWS_SECRET_ACCESS_KEY": "a-secret-key"}


def test_keys_in_the_environment_are_taken_with_their_token():
    assert store_keys(KEYS) == ("an-access-key", "a-secret-key", None)
    assert store_keys({**KEYS, "AWS_SESSION_TOKEN": "a-token"}) == ("an-access-key", "a-secret-key", "a-token")


def test_half_a_pair_of_keys_is_left_to_botocore():
    assert all(store_keys({**KEYS, name: ""}) is None for name in KEYS)
    assert store_keys({}) is None


def test_the_region_goes_by_botocore_s_name():
    assert store_region({"AWS_DEFAULT_REGION": "eu-north-1", "AWS_REGION": "here"}) == "eu-north-1"
    assert store_region({}) is None


def test_whoever_has_keys_and_a_region_waits_for_no_botocore():
    """It takes a fifth of a second to load, at each command."""
    opened = (
        "import sys; from relay.wiring import open_store;"
        "open_store('s3://reels/tide?endpoint=http://127.0.0.1:1&region=here');"
        "print([name for name in sys.modules if name.startswith('boto')])"
    )
    done = subprocess.run([sys.executable, "-c", opened], env=KEYS, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
