# A station without gusts: what is not known is named, never called suitable or a stop.
start hill coarse
3 min no gusts
  11:01 driver: Check hill: cannot see gust
    The watch cannot see all of it. Take a reading at boom height, or stop.
    Gust unknown: no value to rely on; see to mast.
    Job: coarse, about 42 min of spraying left.
    Wind measured by mast 1 min ago.
  11:01 mate: Mida hill: sin datos de rafaga. La vigilancia no ve todo. Mida a la altura de la barra o pare. Decide la etiqueta.
not Stop|Pare hill
not suitable|apta
most 1 driver
most 1 mate
