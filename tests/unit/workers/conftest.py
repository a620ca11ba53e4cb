"""What a site owes is looked at in memory."""

from tests import in_memory

tmp_path_factory = in_memory.tmp_path_factory
