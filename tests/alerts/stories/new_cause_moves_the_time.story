# A stop that was to last until noon becomes one for days: who waits is told.
start hill coarse
1 min calm
1 min gusty till noon
  11:02 driver: Stop hill: gusts 19, max 15 mph
    Stop spraying now.
    Gust 19 mph, at most 15 mph (own): 4 mph over.
    In the forecast it is inside again from 12:02.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: rafagas 19, max. 15 mph. Deje de aplicar ya. Rafaga 19 mph, maximo 15 mph (propio): 4 mph de mas. Decide la etiqueta.
28 min gusty till noon
  11:07 helper: Stop hill: gusts 19, max 15 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
10 min windy for days
  11:32 driver: Stop hill: too windy, 12, max 10 mph
    Stop spraying now.
    Wind 12 mph, at most 10 mph (label): 2 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 11 min of spraying left.
    Wind measured by mast 1 min ago.
  11:32 mate: Pare hill: demasiado viento, 12 mph. Deje de aplicar ya. Viento 12 mph, maximo 10 mph (etiqueta): 2 mph de mas. Decide la etiqueta.
  11:37 helper: Stop hill: too windy, 12, max 10 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
not Get ready
most 2 driver
most 2 mate
