"""What botocore finds on this machine, and boto3's client for what is asked rarely.

Both take long to load, so whoever has keys, a region and no certificates to check goes without.
"""

import os
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import botocore.session
from botocore.config import Config
from botocore.credentials import Credentials
from botocore.exceptions import BotoCoreError
from botocore.httpsession import get_cert_path
from botocore.loaders import create_loader

from relay.errors import RefusedError
from relay.store.signing import Keys
from relay.store.wire import CONNECT_TIMEOUT

if TYPE_CHECKING:
    from mypy_boto3_s3 import S3Client


LOADED = create_loader()
"""What botocore has read of its descriptions of services: every client of S3 is built from the same ones."""


class Found:
    """Keys, region and certificates, in the environment and in the files that botocore reads."""

    def __init__(self, name: str, region: str | None, keys: Keys | None, ca_bundle: Path | None) -> None:
        self._name = name
        self._session = botocore.session.Session()
        self._session.register_component("data_loader", LOADED)
        self._session.set_config_variable("ignore_configured_endpoint_urls", True)  # the address alone says where
        if region or not self._session.get_config_variable("region"):
            self._session.set_config_variable("region", region or "us-east-1")
        if keys is not None:
            self._session.set_credentials(keys.access_key, keys.secret_key, keys.token)
        self._verify = str(ca_bundle or self._session.get_config_variable("ca_bundle") or "") or True
        self._client: tuple[int, S3Client] | None = None  # built when first needed: it takes 0.2 s
        self._building = threading.Lock()

    @property
    def region(self) -> str:
        return str(self._session.get_config_variable("region"))

    @property
    def ca_file(self) -> str:
        """The file of the authorities whose certificates are believed."""
        return self._verify if isinstance(self._verify, str) else str(get_cert_path(self._verify))

    def check_keys(self) -> None:
        """Raise RefusedError where there are none."""
        self._credentials()

    def keys(self) -> Keys:
        """Return the keys as they are now: they may be renewed now and then, which can fail for a while."""
        try:
            frozen = self._credentials().get_frozen_credentials()
        except BotoCoreError as error:
            raise ConnectionError(str(error)) from error
        return Keys(str(frozen.access_key), str(frozen.secret_key), frozen.token)

    def _credentials(self) -> Credentials:
        try:
            found = self._session.get_credentials()
        except BotoCoreError as error:
            raise RefusedError(f"{self._name}: the keys that are set up do not work: {error}. Correct them.") from error
        if found is None:
            raise RefusedError(
                f"{self._name}: no keys were found. Give an access key and a secret key in the settings, or put them "
                "where boto3 looks for them."
            )
        return found

    def client(self, endpoint: str | None, silence: float) -> "S3Client":
        """Return boto3's client of this process."""
        with self._building:
            if self._client is None or self._client[0] != os.getpid():
                self._client = os.getpid(), self._built_client(endpoint, silence)
            return self._client[1]

    def _built_client(self, endpoint: str | None, silence: float) -> "S3Client":
        import boto3  # with what it brings along a tenth of a second, and a fetch or a send never needs it

        try:
            return boto3.session.Session(botocore_session=self._session).client(
                "s3",
                endpoint_url=endpoint,
                verify=self._verify,
                config=Config(
                    connect_timeout=CONNECT_TIMEOUT,
                    read_timeout=silence,
                    retries={"total_max_attempts": 1},
                    s3={"addressing_style": "path" if endpoint else "auto"},
                    request_checksum_calculation="when_required",
                    response_checksum_validation="when_required",
                ),
            )
        except (BotoCoreError, ValueError) as error:
            raise RefusedError(f"{self._name}: {error}. Check the address and the region.") from error
