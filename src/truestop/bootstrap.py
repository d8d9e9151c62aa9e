"""The only place that builds adapters and hands them to the use cases."""

from __future__ import annotations
