"""Tables as classes: what a class says of its columns, made into a plain table.

Written as the object mapper's declarations are, and checked by their types.  The mapper itself
is left out: rows are asked for and put in as tuples here, and to load it and map the
classes took a quarter of the start of every command.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

import sqlalchemy as sa

if TYPE_CHECKING:
    from sqlalchemy.orm import DeclarativeBase as TableClass
    from sqlalchemy.orm import Mapped, aliased, mapped_column
else:
    Mapped = Any

    def mapped_column(*given: Any, **named: Any) -> tuple[tuple[Any, ...], dict[str, Any]]:
        """Keep what is said of a column until its class is made, which gives it a name and says whether it may be NULL."""
        return given, named

    def _column(name: str, annotation: str, given: tuple[Any, ...], named: dict[str, Any]) -> sa.Column[Any]:
        said, rest = (given[0], given[1:]) if given and isinstance(given[0], str) else (name, given)
        return sa.Column(said, *rest, **{"nullable": "None" in annotation, **named})

    class TableClass:
        """What the classes of tables share: each column is an attribute, and the class stands for its table."""

        metadata: ClassVar[sa.MetaData]
        __table__: ClassVar[sa.Table]
        __columns__: ClassVar[dict[str, sa.Column[Any]]]

        def __init_subclass__(cls, **named: Any) -> None:
            """Make the table of a class that names one."""
            super().__init_subclass__(**named)
            own = vars(cls)
            if "__tablename__" not in own:
                return
            cls.__columns__ = {name: _column(name, told, *own[name]) for name, told in cls.__annotations__.items()}
            parts = (*cls.__columns__.values(), *own.get("__table_args__", ()))
            cls.__table__ = sa.Table(own["__tablename__"], cls.metadata, *parts)
            for name, column in cls.__columns__.items():
                setattr(cls, name, column)

        @classmethod
        def __clause_element__(cls) -> sa.Table:
            """Give the table, where a question names the class."""
            return cls.__table__

    class aliased:  # noqa: N801 - named as the mapper's own, which the types are checked by
        """A table under another name in a question, with the attributes of its class."""

        def __init__(self, of: type[TableClass]) -> None:
            self._alias = of.__table__.alias()
            for name, column in of.__columns__.items():
                setattr(self, name, self._alias.c[column.name])

        def __clause_element__(self) -> sa.Alias:
            """Give it, where a question names it."""
            return self._alias


__all__ = ["Mapped", "TableClass", "aliased", "mapped_column"]
